"""Simulated hands that err and choose more freely than those of the demo."""

from __future__ import annotations

from itertools import combinations

from sim.hands import Hands


class FreeHands(Hands):
    """Hands that go to a pair beside the right one, or take the pairs of a unit in an order of their own.

    Args:
        near: how often, at every touch, they go to another pair that shares a place with the right one.
        stubborn: how often such a pair is touched once more after it.
        own_order: they take the pairs of the unit as they lie at hand, whichever is asked for.
        hands: as `Hands` takes them.
    """

    def __init__(self, *scene, near=0.0, stubborn=0.0, own_order=False, **hands):
        super().__init__(*scene, **hands)
        self._near, self._stubborn, self._own_order = near, stubborn, own_order
        self._wrong, self._left = None, []

    async def _fetch(self):
        self._wrong, self._left = None, list(self._scene.kind.steps) if self._own_order else []
        await super()._fetch()

    def _noted(self, show):
        touch = self._probes.held
        if show.get("show") == "verdict" and touch is not None and touch.pair in self._left:
            self._left.remove(touch.pair)
        return super()._noted(show)

    def _where_to_go(self, asked):
        """Mostly the right pair; sometimes one that shares a place with it, which may be touched again."""
        if not self._near:
            return super()._where_to_go(asked)
        before, self._wrong = self._wrong, None
        if before is not None and before != asked and self._dice.random() < self._stubborn:
            self._wrong = before
        elif self._dice.random() < self._near:
            pairs = combinations(self._scene.kind.places(), 2)
            self._wrong = self._dice.choice([p for p in pairs if len({*p} & {*asked}) == 1])
        return self._wrong or asked

    def _at_hand(self, asked):
        """In an order of their own the hands take any pair still left, those that read alike as asked."""
        mine = next((p for p in self._left if set(p) == set(asked)), None)
        if mine is None or len(self._left) < 2:
            return asked
        limits = self._scene.kind.pair_limits_ohm()
        meant = self._dice.choice(self._left)
        alike = [p for p in self._left if abs(limits[p][0] - limits[meant][0]) < 0.1 * limits[meant][0]]
        return asked if mine in alike else alike[0]
