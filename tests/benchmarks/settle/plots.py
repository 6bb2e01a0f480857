"""Draws typical and failing traces of each class with the instants of contact, true settling and report."""

from __future__ import annotations

from pathlib import Path

from .product import detect, readings_of, settings_for
from .scoring import band, error, interval_s, owner
from .traces import make_traces

ROWS, COLUMNS = 4, 3


def draw(folder: Path, names: list[str], count: int, seed: int) -> None:
    """Write one picture of typical and one of failing contacts for each class of meter."""
    import matplotlib as mpl

    mpl.use("Agg")
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        typical, failing = _pick(name, count, seed)
        for kind, cases in (("typical", typical), ("failing", failing)):
            path = folder / f"{name}-{kind}.png"
            _picture(path, f"{name}: {kind} contacts", cases[: ROWS * COLUMNS])
            print(f"{path}: {len(cases[: ROWS * COLUMNS])} contacts")


def _pick(name, count, seed):
    typical, failing = [], []
    for trace in make_traces(name, count, seed):
        found, step_s = detect(readings_of(trace), settings_for(name)), interval_s(trace)
        wrong = set()
        for detection in found:
            k = owner(trace, detection.time_s, step_s)
            if k is not None and abs(error(trace.contacts[k], detection)) > band(trace.contacts[k], trace):
                wrong.add(k)
        for k, contact in enumerate(trace.contacts):
            reported = any(owner(trace, d.time_s, step_s) == k for d in found)
            late = contact.settled_s is not None and not reported and contact.end_s - contact.settled_s > 3
            if k in wrong or (late and contact.kind in ("dut", "insul")):
                failing.append((trace, k, found, k in wrong))
            elif contact.kind == "dut" and len(typical) < ROWS * COLUMNS and reported:
                typical.append((trace, k, found, False))
    return typical, sorted(failing, key=lambda case: not case[3])


def _picture(path, title, cases):
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(ROWS, COLUMNS, figsize=(18, 14), squeeze=False)
    for axis, (trace, k, found, _) in zip(axes.flat, cases, strict=False):
        contact, half = trace.contacts[k], band(trace.contacts[k], trace)
        near = [
            r
            for r in trace.readings
            if r[1] is not None and contact.start_s - 0.5 < r[0] < contact.end_s + 0.5
        ]
        axis.plot(
            [r[0] for r in near],
            [(r[1] - contact.value) / half for r in near],
            ".-",
            lw=0.6,
            ms=3,
            color="black",
        )
        axis.axhspan(-1, 1, color="0.9")
        axis.axvline(contact.start_s, ls="--", lw=0.8, color="tab:blue", label="contact")
        if contact.settled_s is not None:
            axis.axvline(contact.settled_s, ls=":", color="tab:green", label="truly settled")
        for d in found:
            if contact.start_s <= d.time_s <= contact.end_s + 0.5:
                axis.errorbar(
                    d.time_s,
                    (d.value - contact.value) / half,
                    d.expanded / half,
                    fmt="o",
                    color="tab:red",
                    capsize=3,
                    label="report",
                )
        axis.set_ylim(-3, 5)
        axis.set_title(f"{trace.id} {contact.kind} {contact.value:.4g} ohm", fontsize=8)
    handles = dict(zip(*reversed(axes[0][0].get_legend_handles_labels()), strict=True))
    axes[0][0].legend(handles.values(), handles.keys(), fontsize=7)
    figure.supxlabel("time, s")
    figure.supylabel("reading less truth, in bands")
    figure.suptitle(title)
    figure.tight_layout()
    figure.savefig(path, dpi=70)
    plt.close(figure)
