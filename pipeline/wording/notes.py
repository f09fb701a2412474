"""What stands beside a figure."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.notes import Note

_BOUNDED = (
    "The insulation's thinnest wall is bounded, not measured: the gauge reads insulation and covering as one wall. At "
    "{place} it lies between {{worst}} and {{best}}, by where the covering is thin; what the gauge and the covering's "
    "mean leave unsure comes on top."
)
NOTES: Mapping[str, tuple[str, ...]] = {
    Note.ANNOUNCED_CHANGE_HIDDEN: (
        "At {at}. No more than the scatter makes: p = {p:.2g}, corrected for {tests:#test|tests} of announced changes.",
    ),
    Note.ANNOUNCED_CHANGE_SHOWS: (
        (
            "At {at}. Beyond the scatter: p = {p:.2g}, corrected for {tests:#test|tests} of announced changes. "
            "That they coincide is no proof of the cause."
        ),
    ),
    Note.THEN_INTERVAL_WIDENED: ("the interval is widened by a factor of {factor:.2g}",),
    Note.THEN_WORTH_FEWER: ("the reels are counted as {worth:.3g} independent ones",),
    Note.THEN_NO_RUN_LENGTH: ("no average run length is given",),
    Note.THEN_LIMITS_WIDENED: ("limits are widened by the scatter found",),
    Note.THEN_DESCRIBES_THE_PAST: ("the index describes the past and is called performance",),
    Note.THEN_RATE_WIDENED: ("the interval of the fault rate is widened by the scatter found",),
    Note.THEN_FOR_COMPARISON: ("shown for comparison only",),
    Note.THEN_GROWS_BEYOND_MARKS: ("the interval grows with the distance from the last mark",),
    Note.THEN_INTERVAL_OF_MODEL: ("the interval is that of a {model} regression",),
    Note.VARIANCE_OF_COUNTS: (
        "variance over mean of the counts of {items} lengths or reels {dispersion:.2g}, p = {p_value:.2g}",
    ),
    Note.SHAPE_AND_NORMALITY: (
        "skewness {skewness:.2f}, excess kurtosis {kurtosis:.2f}, Shapiro-Wilk p = {p_value:.2g}",
    ),
    Note.SO_FEW_CANNOT_SHOW: ("{n} of them cannot show it",),
    Note.LAG_ONE_OF_PAIRS: ("lag-1 {lag_one:.2f} of {n} pairs",),
    Note.ANDERSON_DARLING: ("Anderson-Darling {anderson_darling:.3g}, bootstrap p {p_value:.3g}",),
    Note.ANDERSON_DARLING_BY_REFITTING: (
        "Anderson-Darling {statistic:.2f}, p = {p_value:.2g} by refitting simulated samples",
    ),
    Note.AS_TOLD: ("as given",),
    Note.AVERAGES_AS_THE_GAUGE_SEES: (
        (
            "It is about averages over {averaging_m:.4}, as the gauge sees the wire; shorter thin spots are "
            "not in it."
        ),
    ),
    Note.AVERAGES_OVER_A_LENGTH: (
        "It is about averages over {averaging_m:.4}; shorter thin spots are not in it.",
    ),
    Note.BEYOND_SURVEYED_MARKS: ("Beyond the surveyed marks the error grows freely: survey one.",),
    Note.BIAS_GROWS: ("The difference grows with the size measured: a plain bias does not describe it.",),
    Note.BOUNDED_ON_REEL: (
        _BOUNDED.format(place="{at:place} from the outer end ({from_core:place} from the core end)"),
    ),
    Note.BOUNDED_ON_RUN: (_BOUNDED.format(place="{at:place} of the run"),),
    Note.BLOCKS_REDRAWN: (
        "Blocks of {block:.0f} of {thin} readings, one in {step} for the fit, were redrawn.",
    ),
    Note.BLOCKS_TAKEN_AS_INDEPENDENT: (
        "Blocks of one reel are taken as independent; with the reel as block they need not be.",
    ),
    Note.CHANGE_OF_LEVEL: ("From {before} to {after}, a change of {size:+.3} ({low:+.3} to {high:+.3}).",),
    Note.CHI_SQUARE: ("independent faults",),
    Note.CLAIM_NOT_PROVEN: (
        (
            "With {reels:#reel|reels}, an observed index of {needed:.2f} or more demonstrates {claim:g} at 95"
            " %: not demonstrated. With a true index of {true:g} it takes {takes:#reel|reels} to demonstrate "
            "it four times in five."
        ),
    ),
    Note.CLAIM_PROVEN: (
        (
            "With {reels:#reel|reels}, an observed index of {needed:.2f} or more demonstrates {claim:g} at 95"
            " %: demonstrated. With a true index of {true:g} it takes {takes:#reel|reels} to demonstrate it "
            "four times in five."
        ),
    ),
    Note.CLASS_WITHOUT_FAULT: (
        (
            "{name} has no fault: its ratio is below {high:.3g} times that of all other items (exact, not "
            "adjusted for other circumstances). Its items stand apart from the fit."
        ),
    ),
    Note.CLEAN_COUNT_IS_NO_PROOF: (
        "A spark test without a fault does not replace the tests of the adopted standard.",
    ),
    Note.CLUSTERS_COUNTED_ONCE: ("Use it once: a rate of clusters already contains it.",),
    Note.CLUSTERS_OUTSIDE_BAND: ("{share_outside:.0f} % of {n} clusters lie outside the 95 % band of each",),
    Note.COINCIDENCE_FOUND: (
        (
            "{faults_with} of {faults:#fault|faults} lie beside one; {expected:.2g} expected by "
            "chance (p = {p_value:.2g}). {events_with} of {events} such places have a fault."
        ),
    ),
    Note.COMPARE_BY_EXTREMES: ("compare the figure by extremes",),
    Note.COMPARE_WIRE_TWICE: ("compare wire read twice",),
    Note.CORRELATION_AGAINST_CHANCE: ("correlation {correlation:.2f}, chance reaches {chance_limit:.2f}",),
    Note.COUNTS_SCATTER_BEFORE_WIDENING: (
        (
            "Counts scatter more than Poisson's (p = {p_value:.2g}): look for clusters or a missing factor "
            "before widening the limits."
        ),
    ),
    Note.COUNTS_SCATTER_MORE: (
        (
            "Counts scatter {phi:.3g} times as much as Poisson's (p = {p_value:.2g}); a circumstance that "
            "matters may be missing from the model."
        ),
    ),
    Note.COUNTS_WITHIN_REACH: ("{merged} Counts within {reach:turn} are one fault.",),
    Note.CUT_FROM_FEW_PLACES: ("cut from few places",),
    Note.DIFFERENCES_BETWEEN_REELS_LEFT_OUT: (
        "Within reels only. With differences between reels: {with_them:.2f}, not {index:.2f}.",
    ),
    Note.DIFFERENCES_OF_REELS_LEFT_OUT: (
        "Differences between reels are left out; real reels differ and the worst carry the risk.",
    ),
    Note.DISPERSION_AND_P: ("dispersion {dispersion:.3g}, p = {dispersion_p:.2g}",),
    Note.DISPERSION_P: ("dispersion p = {p_value:.3g}",),
    Note.DRIFT_OF_DISTANCE: (
        "changes by {per_mille:.2g} per 1000 of length",
        "changes by {drift_m_per_km:turn} over 1000 times that length",
    ),
    Note.EFFECTIVE_NUMBERS_PASSED: ("effective numbers were passed in",),
    Note.ELEMENTS_OF_THE_LINE_SHEET: ("elements of the line sheet",),
    Note.FAILING_READINGS_NOT_COUNTED: (
        (
            "{failing:,d} of the readings not used fail the limit. With every reading of this wire the index "
            "is {index:.2f}: the one above is of the steady wire alone and does not speak for the reel."
        ),
    ),
    Note.FAMILIES_THAT_FIT_AS_WELL: (
        "Families that fit as well give indices from {close:.2f} to {close_2:.2f}.",
    ),
    Note.FAMILY_CHOSEN: (
        "The {name} family was chosen among {fits} by Akaike's criterion; fix it from now on.",
    ),
    Note.FAULTS_BUNCH: (
        (
            "{short} of {gaps} gaps are shorter than half a turn, more than chance makes: these faults come "
            "in bunches. The p-value allows for it."
        ),
    ),
    Note.FAULTS_COME_BACK: (
        ("Fault period matches {elements}. {untold:#listed element|listed elements} could not be cleared."),
        "Fault period matches {elements}.",
    ),
    Note.FAULTS_NOT_INDEPENDENT: (
        "The faults do not fall independently: intervals of a Poisson rate are too narrow.",
    ),
    Note.FAULTS_ON_REELS: ("{n:#fault|faults} on {reels:#reel|reels}",),
    Note.FAULTS_WITHOUT_PRECURSOR: (
        "{estimate:.0f} % of the faults have no precursor: contamination, or damage after the gauge.",
    ),
    Note.FEW_DEGREES_OF_FREEDOM: (
        "Only {freedom:.1f} degrees of freedom: the interval is wide because there are few groups.",
    ),
    Note.FEW_EXPECTED_BAD: ("Some lots expect under 5 bad pieces; their limits are only rough.",),
    Note.FEW_FAULTS: ("Only {n:#fault|faults}: the interval is approximate.",),
    Note.FEW_FAULTS_FOR_PARAMETERS: (
        "With {sum:#fault|faults} for {names} parameters the intervals are only rough.",
    ),
    Note.FEW_GROUPS: ("Only {groups} groups: the interval is wide.",),
    Note.FIT_TO_GUMBEL: ("The fit did not converge; the Gumbel form stands in.",),
    Note.FOR_AN_ENGINEER_TO_SAY: ("for an engineer to decide",),
    Note.FOUND_AGAINST_CHANCE: (
        "{observed:.3g} found, chance makes {chance_low:.3g} to {chance_high:.3g}, p = {p_value:.2g}",
    ),
    Note.GAPS_WAIT: ("The last {left:#gap waits|gaps wait} for their sum.",),
    Note.HARMONIC_PERIOD: ("{period:turn} (amplitude {amplitude:.3}, harmonic {harmonic})",),
    Note.HELD_BLOCK_MINIMA: (
        (
            "Simulated coverage of the 95 % interval: 93.2 % (60 reels, autocorrelation 0.95 at lag "
            "1). Minima of reels do not quite follow the limit law yet."
        ),
    ),
    Note.HELD_CHANGE_POINT: (
        (
            "Simulated coverage of the 95 % interval: 93.9 % (independent items, and autocorrelation "
            "0.95 at lag 1)."
        ),
    ),
    Note.HELD_EXTREMAL_INDEX: (
        (
            "Simulated coverage of the 95 % interval: 94.0 % (200 readings below the threshold), 94.8 "
            "% (100,000 readings, autocorrelation 0.95 at lag 1)."
        ),
    ),
    Note.HELD_IN_TRIALS: (
        (
            "On simulated wire like this, such 95 % intervals held the truth in {least:.1f} to {most:.1f} % of runs; "
            "see the guide on intervals."
        ),
    ),
    Note.HELD_RATE_RATIO: (
        ("Simulated coverage of the 95 % interval: 94.3 % (80 reels whose rates differ)."),
    ),
    Note.HELD_REDRAWN_MEAN: (
        ("Simulated coverage of the 95 % interval: 93.3 % (3,000 readings, autocorrelation 0.95 at lag 1)."),
    ),
    Note.INFORMATION_MATRIX_TEST: ("information-matrix test p {misfit_p:.3g}",),
    Note.INSULATION_ONLY: ("Insulation only, without the covering.",),
    Note.ITEMS_LACK_A_VALUE: ("{lost} of {known} items lack a value and are not judged.",),
    Note.ITEMS_LEFT_OUT: ("{lost:#item|items} not used: no valid value.",),
    Note.ITEMS_NOT_JUDGED: ("{lost} of {known} items have no value and are not judged.",),
    Note.ITEMS_STAND_APART: (
        (
            "{n:#item stands|items stand} apart from the levels on both sides, in stretches of fewer than {shortest}; "
            "no level was worked out of them."
        ),
    ),
    Note.ITEMS_WITHOUT_EARLIER: (
        "{lost} of {n} items have no value, or none before them, and are not judged.",
    ),
    Note.LENGTH_STANDS_OUT: (
        (
            "Period {period:turn}, beyond chance over {trials:.0f} independent lengths (p = {p:.2g}). "
            "Look for a part {across:.3} in diameter that touches the wire, and enter it on the line "
            "sheet."
        ),
    ),
    Note.LIMITS_OF_THE_SAME_REELS: (
        "Phase I: the limits come from these same reels. The chart describes the past only.",
    ),
    Note.LIMITS_REST_ON_FEW: (
        "The limits rest on {behind} points; under {few} their false alarms may be far from those computed.",
    ),
    Note.LIMITS_REST_ON_REELS: (
        "The limits rest on {first:#reel|reels}; their false alarms may differ from those computed.",
    ),
    Note.LIMITS_WIDENED: (
        "Limits are widened so that nine in ten baselines of {known} reels keep to the alarm budget.",
    ),
    Note.LOCKED_TO_AXIS: (
        (
            "The period is locked to {axis}: its line holds {sharpness:.2g} % of the variance there and "
            "{sharpness_2:.2g} % on {other}."
        ),
    ),
    Note.LOCK_NOT_SEPARATED: (
        (
            "Cannot separate length-based from time-based causes: {axis} ({sharpness:.2g} % of the "
            "variance) against {other} ({sharpness_2:.2g} %). A larger change of speed would separate "
            "them."
        ),
    ),
    Note.LOOK_AGAIN_AFTER_THE_CHANGE: ("look again after the change",),
    Note.LOOK_AT_THE_TRACE: ("look at the trace",),
    Note.MARGIN_OF_READINGS_ALONE: (
        (
            "From the readings alone it would be {margin_mm:.2f}: averages over {window_m:.4} hide the "
            "shortest variation."
        ),
    ),
    Note.MARKS_SURVEYED: ("marks surveyed from counter {low:place} to {high:place}",),
    Note.MEAN_BEYOND_THE_LIMIT: ("The mean lies on or beyond the limit: the index is not positive.",),
    Note.MEAN_DEPTHS: ("{depths:.3}",),
    Note.MEAN_OUTSIDE_THE_LIMITS: ("The mean lies outside the limits: the index is not positive.",),
    Note.MEDIAN_BEYOND_THE_LIMIT: ("The median lies on or beyond the limit: the index is not positive.",),
    Note.MEMORY_OF_THE_NOISE: ("memory {memory_m:.3}, lag-1 left {lag_one:.2f}",),
    Note.NEGATIVE_BINOMIAL_DID_NOT_CONVERGE: (
        "The negative binomial did not converge; errors are widened by the dispersion instead.",
    ),
    Note.NEIGHBOURS_CORRELATED: (
        (
            "Neighboring points are correlated (lag-1 {correlation:.2f}); use a residual chart or a widened "
            "EWMA beside this chart."
        ),
    ),
    Note.NONE_BAD_STILL_ALLOWS: ("0 bad of {reels}. Upper bound: {high:.3g} % bad reels.",),
    Note.NORMAL_THEORY_ONLY: ("Normal theory: it says nothing about lumps, steps or a skewed wall.",),
    Note.NOT_CHECKED: ("not checked here",),
    Note.NOT_NORMAL_LIMIT_MAY_BE_TOO_HIGH: ("The values are not normal: the limit may be too high.",),
    Note.NOTED_AFTER: ("{what} at {at}, {away:.3} after the change.",),
    Note.NOTED_BEFORE: ("{what} at {at}, {away:.3} before the change.",),
    Note.NOTHING_NOTED: ("The run sheet notes no change there.",),
    Note.NO_CONTROL_CHART: ("no control chart was passed in",),
    Note.NO_CONTROL_CHART_MADE: ("no control chart could be made",),
    Note.NO_DIFFERENCE_SHOWN: (
        (
            "No difference shows. That does not show equality: with this length, twice the rate of {rate:.3} would be "
            "seen {seen:.0f} times in 100."
        ),
        (
            "No difference shows. That does not show equality: with this length, twice the usual rate would be seen "
            "{seen:.0f} times in 100."
        ),
    ),
    Note.NO_ELEMENT_LOOKED_AT: ("No element of the line sheet was looked at.",),
    Note.FAMILY_MEMBER: ("{at:place} ({probability:.2f})",),
    Note.FAMILY_MEMBERS: (
        "{n} of {faults} faults belong to it with a probability of {least:.2f} or more: {members}.",
    ),
    Note.NO_FAMILY_MEMBER: (
        "No single one of the {faults} faults belongs to it with a probability of {least:.2f} or more.",
    ),
    Note.SCALE_IN_INTERVAL: (
        "The interval includes the scale of the length counter, {scale:.2f}\u00a0% standard uncertainty.",
    ),
    Note.NO_ELEMENT_REPEATS: (
        (
            "No listed element's turn repeats in the faults. {untold:#listed element|listed elements} could "
            "not be cleared."
        ),
        "No listed element's turn repeats in the faults.",
    ),
    Note.NO_FAMILY_DESCRIBES: (
        "No listed family describes the values well: the index is only a guide to the tail.",
    ),
    Note.NO_FAULT_IS_NO_ZERO_RATE: ("0 faults in {known}. Upper {confidence:.4g} % bound: {upper}.",),
    Note.NO_LOT_LARGE_ENOUGH: (
        "No lot is large enough to signal by itself, even if all of its pieces were bad.",
    ),
    Note.NO_REEL_BEYOND: ("no reel of {plotted} lies beyond the limits of phase I",),
    Note.NO_SINGLE_CHANGE: ("The CUSUM test for a single change finds none (p = {p_value:.2g}).",),
    Note.OBSERVED_BAD: ("Observed on file: {bad} bad of {reels:#reel|reels}.",),
    Note.OBSERVED_BAD_OF_RUN: ("Observed of this run: {bad} bad of {reels:#reel|reels}.",),
    Note.ONE_IS_SEPARATE_FAULTS: (
        "1 = independent faults. Counted over {cells:#length|lengths} of {cell_m:.4}.",
    ),
    Note.ONE_PERIOD: ("{period:turn} (amplitude {amplitude:.3})",),
    Note.PAST_ONLY: ("The process was not stable ({evidence}): the index describes the past, no more.",),
    Note.PERIODS_FOUND: ("{n:#period stands|periods stand} above the background: {periods}.",),
    Note.PERIODS_NOT_SEEN: (
        (
            "Aliasing: periods below {step_m:.3} appear at another length, because readings are "
            "{step_m_2:.3} apart. See the alias table."
        ),
    ),
    Note.PERIOD_FITS: ("The period of {period:turn} matches {turns}.",),
    Note.PERIOD_FITS_NOTHING: ("The period of {period:turn} fits no listed element.",),
    Note.PERIOD_FITS_SEVERAL: ("The period of {period:turn} matches more than one element: {turns}.",),
    Note.PERIOD_MAY_BE_AN_ALIAS: (
        (
            "Aliasing: readings are usually {usual:.3} apart, so a period below {usual_2:.3} may be "
            "an alias. See the alias table."
        ),
    ),
    Note.POSITIVE_SHAPE: ("The fitted shape {shape:.2f} is positive: look for a mixture or a drop-out.",),
    Note.POSITIVE_SHAPE_OF_THE_WALL: (
        (
            "The fitted shape {shape:.2f} is positive: the depth has no bound. For a wall this "
            "suggests a mixture or a drop-out. Check the deepest readings."
        ),
    ),
    Note.RATE_AND_DEPTH_P: ("rate p = {rate_p:.2g}, depth p = {depth_p:.2g}",),
    Note.RATE_CHANGED_AT: (
        (
            "The figure is the number of the reel in the order made: {reel}, between {first} and {last}. From"
            " {before} to {after}."
        ),
    ),
    Note.RATE_SIGNALLED_AFTER: (
        "A rate {times_the_rate:g} times the usual is signalled after {arl1:.0f} faults on average.",
    ),
    Note.READINGS_OF_A_CAUSE_NOT_COUNTED: ("{n:#reading|readings} not used: {cause}.",),
    Note.RECORD_CONTRADICTS: (
        (
            "{observed} By the prediction so many would come with a chance of {chance:chance} (exact binomial test, "
            "level {level:g}): the record contradicts it, so it is not shown."
        ),
    ),
    Note.REELS_BEYOND: ("{signals} of {reels:#reel|reels} beyond the limits of phase I",),
    Note.REELS_DIFFER_MORE: (
        (
            "Reels differ by more than their inner scatter explains; limits from within the reel alarm too "
            "often. Plot the reel means on an individuals chart."
        ),
    ),
    Note.REELS_THAT_MAY_HAVE_A_POINT: (
        "Upper {confidence:g} % bound: {high_chance:.2g} of reels have such a point.",
    ),
    Note.REELS_WITHOUT_KNOWN_LENGTH: ("{sum} of {known} reels have no known length and are not judged.",),
    Note.REPEAT_OF_ELEMENT: (
        "{element} (every {period:turn}, {marks} times a turn, p = {p:.2g})",
        "{element} (every {period:turn}, p = {p:.2g})",
    ),
    Note.SEE_CALIBRATION: ("see the calibration of the run",),
    Note.SEE_CLUSTERING: ("see the clustering test",),
    Note.SEE_INDIVIDUALS_CHART: ("see the individuals chart",),
    Note.SEE_SCATTER: ("see the scatter from reel to reel",),
    Note.SEVERAL_ELEMENTS_FIT: (
        (
            "More than one listed element fits, and the faults do not tell which: {elements}. {untold:#listed"
            " element|listed elements} could not be cleared."
        ),
        "More than one listed element fits, and the faults do not tell which: {elements}.",
    ),
    Note.SHAPES: ("shape (clusters): {shapes}",),
    Note.SHAPE_INTERVAL: (
        "shape {low:.2f} to {high:.2f}; such 95 % intervals held {shape_held} of simulated tails",
    ),
    Note.SHAPE_OF_CLUSTERS: ("{shape:.2f} ({n})",),
    Note.SHAPE_UNDER_A_HALF: (
        "The fitted shape {shape:.2f} is under -0.5: the interval is not to be relied on.",
    ),
    Note.SHAPIRO_WILK: ("Shapiro-Wilk W {statistic:.4f}, p {pvalue:.3g}",),
    Note.SHIFT_SHOWS_IN_PART: (
        (
            "A lasting shift shows only {left:.0f} % of itself after its first point; read an EWMA of the "
            "values beside this chart."
        ),
    ),
    Note.SHRANK_OUT_OF_FAMILY: (
        (
            "The insulation shrank to {now:.2f} % of its hot area; earlier runs of this product lead one to "
            "expect {mean:.2f} to {mean_2:.2f} %. It is out of family: another compound, a colder trough, "
            "voids, or a gauge that has moved."
        ),
    ),
    Note.SINGLE_CHANGE: (
        "The CUSUM's estimate of a single change: at {at} ({low} to {high}), by {size:+.3} (p = {p:.2g}).",
    ),
    Note.SIZES_DIFFER: (
        "Sizes differ, so these estimates are not the best; restricted likelihood is better.",
    ),
    Note.SPACINGS_P: ("spacings p = {apart_p:.2g}",),
    Note.SPEED_KEPT: (
        (
            "Cannot separate length-based from time-based causes: the line kept its speed. A change of speed "
            "would separate a roll or the capstan from the screw or a control."
        ),
    ),
    Note.SPREAD_BETWEEN_REELS_KNOWN_EXACTLY: ("The spread between reels is taken as known exactly.",),
    Note.STABILITY_NOT_SHOWN: (
        "Stability was not shown: this is performance of what was made, not capability.",
    ),
    Note.STEP_DECIDES: ("The gauge's step is coarser than its noise; the step decides.",),
    Note.STOOD_IN_ELECTRODE: (
        "{stood:place} stood in the electrode and had far more of the voltage than asked: look at that wire.",
    ),
    Note.STRAND_VALLEYS_NOT_COUNTED: ("Compound between the strands is not included.",),
    Note.STRONGEST_OF_CHANCE: (
        "No period stands above the noise; the figures are those of the strongest chance swing.",
    ),
    Note.SWING_HUNTS: (
        (
            "About every {about:.2}, without a fixed step: a control that hunts or a feed that surges, not a turning "
            "element."
        ),
    ),
    Note.SWING_LOSES_STEP: (
        (
            "The period does not hold along the length, as with a hunting control or slip. It is no "
            "evidence of a turning element. The amplitude is that of the regular part only."
        ),
    ),
    Note.TAIL_EXPONENTIAL: (
        "The tail fit did not converge; an exponential tail stands in, which is no bound.",
    ),
    Note.TAKEN_AS_GIVEN: ("taken as given by the caller",),
    Note.TEST_AND_INTERVAL_DISAGREE: (
        (
            "The test (p = {p_value:.3g}) and the exact interval of the ratio ({low:.3g} to {high:.3g}) "
            "disagree at {confidence:g} %: the evidence is marginal. Do not change the method to settle it; "
            "run more length."
        ),
    ),
    Note.THIN_SIDE_WITHOUT_BOUND: ("The thin side has no bound: too little wire for this question.",),
    Note.TO_BE_COMPARED_ONLY: ("For comparison only. Use the result by extremes.",),
    Note.TURN_OF_ELEMENT: (
        "{part:part} of a turn of {element} ({seen:turn}, alias of {true:turn})",
        "{part:part} of a turn of {element} ({seen:turn})",
        "{element} ({seen:turn}, alias of {true:turn})",
        "{element} ({seen:turn})",
    ),
    Note.UNCERTAINTY_IN_THE_SPREAD: (
        (
            "A reading has a standard uncertainty of {uncertainty:.2}, which is in the spread and makes the "
            "risk look larger than it is."
        ),
    ),
    Note.UNKNOWN_READINGS_LEFT_OUT: ("{n:#reading|readings} not used: no valid value.",),
    Note.UNKNOWN_VALUES_LEFT_OUT: ("{n:#value|values} not used: no valid value.",),
    Note.UNTESTED_WIRE: (
        (
            "{untested:place} are untested. That is a fault of the test, not of the wire; the wire is held "
            "until it is tested."
        ),
    ),
    Note.VARIANCE_ESTIMATE_ZERO: ("The estimate is 0; read the upper bound.",),
    Note.VARIANCE_ESTIMATE_ZERO_BY_SQUARES: (
        "The difference of mean squares is not positive: the estimate is 0. Read the upper bound.",
    ),
    Note.VARIANCE_OF_CLUSTER_COUNTS: (
        "variance over mean of the cluster counts of {items:#reel|reels}: {dispersion:.2g}, p = {p_value:.2g}",
    ),
    Note.WIDENED_LIMITS_HIDE: (
        (
            "Widened limits hide a real shift within these points; test the dispersion and look for its cause"
            " first."
        ),
    ),
    Note.WINDOW_TOO_WIDE: (
        (
            "Chance alone puts more than half of the faults near an event: the window is too wide or events "
            "too many to show anything."
        ),
    ),
    Note.WINDOW_UNDER_UNCERTAINTY: (
        (
            "A window of {window_m:.3} is under twice the positions' uncertainty of {position_sd_m:.3}: pairs"
            " that belong together are missed."
        ),
    ),
    Note.WIRE_LEFT_OUT: ("{left_out_m:.4} without a reading not used.",),
}
