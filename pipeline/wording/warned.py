"""What a run's own readings tell of its length, clocks, gauges and wire nobody saw."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.warned import Agrees, Calibration, Clock, Counted, NotSeen, Station, Warned

_APART = (
    "{one} and {other} see the same wire {found:turn} apart ({low:turn} to {high:turn}); the line sheet says "
    "{sheet:turn}."
)
_GAP = "The diameters leave {gap:wall+} of wall against the wall gauge; "
_SUSPECT = "taking out the {suspect} alone restores agreement: check it first."
_UNKNOWN = "the instruments disagree, cause unknown."
_SETTLE = " No conclusion about this wire until it is settled."
_CLOCK_SET = (
    " the first's: {length:place} of wire at the usual speed. Set the clocks; events placed by the second clock are "
    "that much less sure."
)
_NOMINAL = (
    "No usable reading of the conductor's diameter: it is taken as the nominal {nominal:diameter}, even within "
    "1\u00a0%, where "
)
_FIT = ". Fit or mend a conductor gauge before the crosshead."
_FEW = "{n:#reading|readings} of {instrument} stand on fewer than {sensors} working sensors, which do not see an oval: "
_OVAL = (
    "{instrument} has {sensors} wall sensors: an oval is not seen in full, lobes of order {orders} pass for an offset, "
    "and the lowest sensor alone would read up to {thick} too thick."
)
WARNED: Mapping[str, tuple[str, ...]] = {
    Counted.LEAP: (
        (
            "The length counter leapt from {last:place} to {new:place} between two readings; {size:place} of it is not "
            "wire and is left out."
        ),
    ),
    Counted.WRAP: ("The length counter went round its last digit at {last:place} and was counted on.",),
    Counted.RESET_BY_SPEED: (
        (
            "The length counter fell from {last:place} to {new:place} and started again; the wire is counted on with "
            "{run:place}, which the line speed says."
        ),
    ),
    Counted.RESET: (
        (
            "The length counter fell from {last:place} to {new:place} and started again; the wire is counted on with "
            "{run:place}, which the counter showed by then; up to one reading's length is lost."
        ),
    ),
    Counted.GLITCH: (
        (
            "The length counter showed {shown:place} for {n:#reading|readings} and came back; those values are left "
            "out."
        ),
    ),
    Counted.REVERSAL: (
        "The wire was pulled back {depth:place} at {at}; readings meanwhile repeat wire already read.",
    ),
    Counted.SLIP: (
        (
            "The length counter ran {lost:place} short of the line speed from {span}; the length there is taken from "
            "the line speed."
        ),
    ),
    Counted.GAP: ("Nothing was logged for {seconds:.1f} s while {length:place} of wire ran.",),
    Warned.SPEED_BACKWARDS: ("The line speed is logged with the opposite sign; it is used without it.",),
    Warned.SPEED_NEGATIVE: (
        (
            "The line speed is negative in {n:#reading|readings}: wire pulled back, or a fault of the signal. The "
            "length counter decides where it is logged."
        ),
    ),
    Warned.SPEED_STUCK: (
        (
            "The line speed showed {speed} exactly for {seconds:.0f} s at {at} while the length counter ran short of "
            "it: the speed signal is taken for stuck and the counter is followed. If the wire did run, its length is "
            "missing there."
        ),
    ),
    Warned.NO_COUNTER: (
        (
            "No length counter is logged: the length is the integral of the line speed, and every position carries the "
            "speed's scale error (0.1\u00a0% is {error:length} at {length:length}). Calibrate it against footage marks."
        ),
    ),
    Warned.TWO_COUNTERS: (
        "File {file} carries a length counter over the same time as another log; the fuller one is used.",
    ),
    Warned.COUNTER_SCALE: (
        (
            "The length counter gives {scale:.3f} times the length by line speed; the counter is used as it stands. "
            "Calibrate one of them against footage marks."
        ),
    ),
    Warned.COUNTS_WITHOUT_PLACE: (
        "{n:#spark count has|spark counts have} no place on the wire: no reel can be cleared of them.",
    ),
    Warned.SETTLED_LATE: (
        (
            "The speed was steady from {steady} on, and the wall had settled at {settled}: the wire between counts as "
            "settling."
        ),
    ),
    Warned.CONTRADICTED_LEFT_OUT: (
        (
            "The instruments contradict each other over {length}: that wire is left out of capability and every other "
            "statistic of wall and diameter."
        ),
    ),
    Warned.CONDUCTOR_NOMINAL: (_NOMINAL + "wall and diameter are held against each other" + _FIT,),
    Warned.CONDUCTOR_NOMINAL_IN_WALL: (_NOMINAL + "the mean wall is taken from the diameter" + _FIT,),
    Warned.FEW_WORKING_SENSORS_LOBES: (_FEW + "their thinnest wall is given {lobes} thinner.",),
    Warned.FEW_WORKING_SENSORS: (
        _FEW + "no thinnest wall is told there, since the line sheet gives no 'largest_lobes_mm'.",
    ),
    Warned.FEW_SENSORS: (_OVAL,),
    Warned.FEW_SENSORS_LOBES: (_OVAL + " The thinnest wall is given {lobes} thinner for it.",),
    Warned.SENSOR_OUT_ALONE: (
        (
            "{instrument}: {n:#reading has|readings have} a sensor out and no usable diameter on the same wire: they "
            "judge nothing, and their wire counts as unmonitored."
        ),
    ),
    Warned.SENSOR_SILENT: (
        (
            "{instrument}: wall sensor {sensors} repeats a figure with noise over {n:#reading|readings}: far quieter "
            "than usual, or still while the wall beside it or the diameter moves. It judges nothing there. Check the "
            "gauge."
        ),
    ),
    Warned.RING_STANDS: (
        (
            "{instrument} stands still over {n:#reading|readings} while the diameter, which it followed before, moves "
            "on: it does not read the wire, and the wire counts as unmonitored. Check the gauge."
        ),
    ),
    Warned.SPLICE: (
        "A lump {height:wall} high at {at}, seen by {seen_by}: taken for a splice. Saleable lengths leave it out.",
    ),
    Warned.STATION_UNSURE: (
        (
            "{found} Places by {one} and {other} are unsure by {unsure:place}: their findings are widened by that "
            "much, and wire that near a reel's end may lie on the neighboring reel. No reel is held for this alone."
        ),
    ),
    Warned.CLOCKS_OF_LOGS: ("Logs {first} (first) and {second} (second): {found}",),
    Station.AGREES: (_APART + " They agree.",),
    Station.DISAGREES: (
        (
            _APART
            + " Measure the line and correct 'station_m', or look for a slipping wheel; readings stay placed by "
            "the line sheet."
        ),
    ),
    Station.DRIFTS: (
        "{found} The distance changes by {slope:turn} per {each:length}: a wheel slips or a path changes.",
    ),
    Station.NOT_CHECKED: ("The distance between {one} and {other} could not be checked. {why}",),
    Station.NO_COMMON_WIRE: ("They have no wire in common.",),
    Station.NOT_TOGETHER: (
        "They do not vary together beyond chance (correlation {peak:.2f}, chance reaches {chance:.2f}).",
    ),
    Station.TOO_FEW_STRETCHES: (
        "They vary together beyond chance in {n} of {looked} stretches only, and half are needed.",
    ),
    Clock.AGREE: ("The two loggers' clocks agree to {seconds:.2f} s.",),
    Clock.AHEAD: ("The second logger's clock stands {seconds:.2f} s ahead of" + _CLOCK_SET,),
    Clock.BEHIND: ("The second logger's clock stands {seconds:.2f} s behind" + _CLOCK_SET,),
    Agrees.AGREE: ("The instruments agree within their uncertainties.",),
    Agrees.NOT_ALL_KNOWN: (
        "Wall, overall diameter and conductor diameter are not all known here: nothing can be compared.",
    ),
    Agrees.DRIFTS: (
        (
            "Here the diameters leave {more:wall+} more wall against the wall gauge than usual in this run: a gauge "
            "drifts, which one is not known. No conclusion about this wire until it is settled."
        ),
    ),
    Agrees.SUSPECT: (_GAP + _SUSPECT,),
    Agrees.UNKNOWN: (_GAP + _UNKNOWN,),
    Agrees.SUSPECT_SETTLE: (_GAP + _SUSPECT + _SETTLE,),
    Agrees.UNKNOWN_SETTLE: (_GAP + _UNKNOWN + _SETTLE,),
    Calibration.NOT_ON_FILE: ("no calibration of {instrument} ({kind}) is on file",),
    Calibration.NOT_YET: ("{instrument} ({kind}) was calibrated on {calibrated}, after this run on {day}",),
    Calibration.LAPSED: ("the calibration of {instrument} ({kind}) held until {due}; the run was on {day}",),
    Calibration.IN_DATE: ("{instrument} ({kind}) was in calibration until {due}",),
    NotSeen.WALL: ("No usable wall reading here.",),
    NotSeen.DIAMETER: ("No usable diameter reading here.",),
    NotSeen.CONDUCTOR: ("No usable conductor reading here.",),
    NotSeen.SPARK: ("No full spark test is on record here.",),
    NotSeen.SPARK_NOT_LOGGED: (
        "No spark test voltage was logged: log it, and map 'spark_kv' in [run.logs.channels].",
    ),
    NotSeen.EITHER_REEL: ("On this reel or the next.",),
}
