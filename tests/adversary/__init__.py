"""An adversary for the daemon: instrument, hands and circuits that share nothing with it.

The other tests drive the daemon with `sim`, which was written beside it. A mistake that both share, in how
copper warms or what a probe in the air reads, passes there. Here everything around the daemon was written
anew, from standards and a handbook's circuit theory, and imports neither `acquire` nor `drivers` nor `sim`
(test_rig.py looks).

    instrument.py   SCPI multimeter on TCP: ranges, overload, noise, accuracy, leads, thermal EMF; its link
                    can be cut, it can fall silent, it can be switched off and on
    circuits.py     a sheet read by tomllib; a unit with its own true windings, joints, shorts, opens and a
                    temperature that cools by two exponentials; solved by networkx's Laplacian
    hands.py        an operator who reads requests as data (kind, pair) and the meter's display, and knows no
                    truth: obedient, lingering, hurried, slipping, mashing Enter, never moving
    bench.py        the real daemon: `python -m acquire run BENCH` as a process, typed to, killed, started
                    again; its page followed over `/events`; a bench file as a user writes it
    record.py       the journal by sqlite3 and json: kinds, codes, ids, numbers; no sentence is read anywhere
    plan.py         which units come, and the oracle: what their readings can tell
    campaign.py     many units at many benches, and the table
    kills.py        one unit whole and killed, compared

    python -m tests.adversary --units 308 --seed 1        # a table; exit 1 if a unit was judged wrongly
    python -m tests.adversary --units 5 --sheets corrie --verbose
    python -m tests.adversary.kills --units 14            # kill -9 after any journal entry
    pytest tests/adversary                                # the short form; `-m long` the rest

Seven sheets: the three shipped ones, and in sheets/ a delta, a star without neutral, a motor with run and
start winding, a tapped pick-up coil. Steps take a tenth of the usual time, by short limits in the bench
file's `[settle]`; so that drift between touches is what a person's pace would show, units cool ten times
faster too (`--hurry`).

Truth is one of three. *bad*: a limit of the sheet (a pair, a balance, a matching), or 0.3 ohm of joint where
a closed relation of pairs shows it, is passed by more than three standard uncertainties of what the readings
can tell: meter, contacts, a lead zero that may be off by 0.1 ohm, a thermometer within its stated limits;
and where warmth hides the fault, only if the unit's drift during its touches shows the warmth at three
sigma. *good*: all limits are kept by as much. *between*: the rest, which may go either way. The thermometer
never lies beyond what the bench file states, so what is called bad could have been known. Wrong is: bad and
passed; good and failed. Held and "cannot judge" are never wrong, but counted, as is whether what was failed
or held was explained by what had been planted.
"""
