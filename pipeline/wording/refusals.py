"""Why there is no result, and what would give one."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.reasons import Reason

REFUSALS: Mapping[str, tuple[str, ...]] = {
    Reason.ALL_VALUES_ARE: ("All {n:#value|values} equal {n_2:g}, so nothing follows from anything.",),
    Reason.ALL_VALUES_EQUAL: ("All values are equal; look for a stuck instrument.",),
    Reason.ALL_VALUES_EQUAL_AT: (
        "All {known:#value|values} equal {shown}, so chance has no size; check the instrument.",
    ),
    Reason.ASSUMPTION_FAILED: ("Withdrawn, because a check failed: {assumed}. Found: {evidence}.",),
    Reason.AVERAGES_DRIFT_TOO_SLOWLY: (
        (
            "No interval: averages over {average_m:.4} drift too slowly (about {for_mean:.0f} "
            "independent values in {n}). See the change points."
        ),
    ),
    Reason.BLOCKS_OR_REELS_WITHOUT_LENGTH: ("Blocks and reels must be longer than zero.",),
    Reason.BLOCKS_UNEQUAL: (
        (
            "The blocks are {min:g} to {max:.4} long; cut blocks of equal length, or use the readings under a"
            " threshold."
        ),
    ),
    Reason.BOLTS_TURNED_TOGETHER: (
        (
            "Cannot separate what each bolt does: {bolts} were always turned in the same proportion, or too "
            "seldom. Log a turn of one bolt alone."
        ),
    ),
    Reason.CIRCUMSTANCES_ALIKE: (
        "Every reel was made under the same shift and lots. Nothing can be compared.",
    ),
    Reason.CIRCUMSTANCES_SAY_THE_SAME: ("Two circumstances agree on every item. Leave one of them out.",),
    Reason.COEFFICIENTS_NOT_TOLD_APART: (
        "The series cannot separate the coefficients. Ask for fewer of them.",
    ),
    Reason.CONDUCTOR_NOT_KNOWN: ("The diameter of the conductor is not known: name it.",),
    Reason.COVERING_NOT_STATED: (
        (
            "The product has a covering, the instruments read it together with the insulation, and the run "
            "sheet says nothing of it: taking the total for insulation would pass thin wire. Give "
            "[run.covering]."
        ),
    ),
    Reason.DEFICITS_NOT_POSITIVE: ("The deficits must be finite and above zero.",),
    Reason.DEFICITS_NOT_POSITIVE_OR_EQUAL: (
        "The deficits must be finite, above zero and not all equal; look for a stuck instrument.",
    ),
    Reason.DEVIATION_OF_TOO_FEW_VALUES: ("Each deviation needs more than two values behind it.",),
    Reason.DIAMETER_ONLY: (
        (
            "This line measures the diameter only, which stays the same however far the conductor sits off "
            "center: the thinnest wall cannot be known. Fit a wall gauge, or judge cut samples."
        ),
    ),
    Reason.EFFECTIVE_NUMBER_NOT_FINITE: (
        "An effective number is not a finite number; work it out from the series and ask again.",
    ),
    Reason.ELECTRODE_SMEARS_THE_TURN: (
        (
            "{name}: an electrode of {electrode_m:.3} smears the phase on a turn of {turn:.4} to {left:.0f} %: these "
            "faults cannot clear it. Look for it in the wall or the diameter."
        ),
    ),
    Reason.FAMILIES_DISAGREE: (
        (
            "Redrawn wire gives an index of {under:.2f} or more, above the {index:.2f} found: families that "
            "fit as well disagree, so the shape of the tail is not known; gather more wire."
        ),
    ),
    Reason.FAMILY_NOT_LISTED: ("'{family}' is not a listed family; name one of {families}.",),
    Reason.FAULTS_AT_ONE_END: (
        "All faults lie at one end of the known length, so no rate can be fitted; look at that end.",
    ),
    Reason.FAULTS_NOT_FAR_APART: (
        "{n:#fault|faults}, none of them three such lengths apart on one reel, cannot show it.",
    ),
    Reason.FAULTS_TOO_CLOSE_FOR_THE_TURN: (
        (
            "{name}: the faults of no reel lie further apart than {span:.4}, which is under three turns of "
            "{turn:.4}."
        ),
    ),
    Reason.FIGURE_FAILS_ON_REDRAWN: (
        "The figure cannot be computed on the redrawn series; ask for a simpler one.",
    ),
    Reason.FIGURE_OF_A_REEL_NOT_FINITE: (
        "A figure of a reel is not finite; leave the reel out and ask again.",
    ),
    Reason.FIT_DID_NOT_CONVERGE: (
        (
            "The fit did not converge: a circumstance separates items with faults from items without. Leave "
            "it out or put classes together."
        ),
    ),
    Reason.FIT_FAILS_ON_REDRAWN: (
        "The fit does not converge on redrawn readings; fix a simpler family or gather more.",
    ),
    Reason.GAUGE_NOISE_AS_LARGE_AS_SPREAD: (
        "The gauge's noise is as large as the spread it reports, so nothing is left of the wall's own.",
    ),
    Reason.INDEX_WITHOUT_BOUNDS: ("The index has no bounds around it; no interval, no conclusion.",),
    Reason.INFINITE_VALUES: ("{infinite} of {known} values are infinite; flag them and ask again.",),
    Reason.INPUTS_MOVE_TOGETHER: ("Two inputs move exactly together: leave one of them out.",),
    Reason.IMPOSSIBLE_FIGURE: (
        (
            "The method gives {figure}, which cannot be: its figure or its interval lies beyond what is possible. Look "
            "at the readings behind it, and gather more of them."
        ),
    ),
    Reason.WALL_SENSORS_IN_ANOTHER_ORDER: (
        (
            "The sensors of {instrument} make a smooth wall only in another order than the run sheet's. Column by "
            "column, the log likely holds sensors {order}. Correct 'walls' in the run sheet and load the run again."
        ),
    ),
    Reason.INSTRUMENTS_CONTRADICT: ("No conclusion from {low} to {high}: {agreement}",),
    Reason.LENGTH_NOT_POSITIVE: (
        "The known length and the reel must be longer than zero; without known wire there is no rate.",
    ),
    Reason.LEVEL_ABOVE_THE_THRESHOLD: (
        "A reel passes the threshold itself less often than that; ask for fewer passings.",
    ),
    Reason.LIKELIHOOD_WITHOUT_MAXIMUM: ("The likelihood has no maximum; look at the reels.",),
    Reason.LIMITS_NOT_IN_ORDER: (
        "The lower limit must be a finite number below the upper one; mend the limits.",
    ),
    Reason.LIMIT_ABOVE_THE_THRESHOLD: (
        "The limit lies above the threshold, where the tail is not fitted; choose a threshold above it.",
    ),
    Reason.LIMIT_NOT_FINITE: ("The limit is not a finite number; give the limit in the unit of the values.",),
    Reason.LIMIT_NOT_FINITE_READINGS: (
        "The limit is not a finite number; give it in the unit of the readings.",
    ),
    Reason.LIMIT_OR_THRESHOLD_NOT_FINITE: (
        "The limit or the threshold is not a finite number; give both in the unit of the readings.",
    ),
    Reason.LINE_NOT_REVIEWED: ("This line was not reviewed yet: assess its runs.",),
    Reason.MEANS_NOT_OF_THE_SAME_REELS: (
        "Means, deviations and effective numbers are not of the same reels; pass one of each a reel.",
    ),
    Reason.MEAN_OR_LIMIT_NOT_FINITE: (
        "A mean, a deviation or the limit is not a finite number; leave the reel out and ask again.",
    ),
    Reason.MINIMA_EQUAL_OR_NOT_FINITE: (
        "The minima must be finite and not all equal; look for a stuck instrument.",
    ),
    Reason.NEIGHBOURS_CORRELATED: (
        (
            "Neighboring values are correlated (lag-1 {correlation:.2f}), so the moving range would give "
            "{correlation_2:.2f} of the true standard deviation; use 'robust' or 'standard deviation', or a "
            "residual chart."
        ),
    ),
    Reason.NOT_OF_THE_SAME_REELS: (
        "Means, variances, numbers and runs are not of the same reels; pass one of each a reel.",
    ),
    Reason.NOT_STABLE: (
        "The process is not stable, so its spread predicts nothing; find and remove the cause.",
    ),
    Reason.NO_BUNCHES_OF_SO_FEW: (
        "{n:#fault|faults} on {known_m} of tested wire cannot show bunches; two at least are needed.",
    ),
    Reason.NO_CHANGE_OF_LEVEL: (
        "No change of level beyond the scatter of {means} averages over {average_m:.4}.",
    ),
    Reason.INTERVAL_HELD_TOO_SELDOM: (
        (
            "No interval: on simulated wire like this, it held the truth in only {least:.1f} % of runs. More wire "
            "would answer it."
        ),
    ),
    Reason.NO_TRIAL_LIKE_THIS: (
        (
            "No interval: none was tried on readings with an autocorrelation of {lag_one:.3f}. The minima of many "
            "reels would answer it."
        ),
    ),
    Reason.NO_LASTING_CHANGE: (
        (
            "No lasting change of level beyond the scatter of {means} averages over {average_m:.4}; {n} of "
            "them stand apart, in short stretches."
        ),
    ),
    Reason.NO_CHANGE_OF_RATE: ("No change beyond chance (p = {p_value:.2g}, corrected for all places).",),
    Reason.NO_COINCIDENCE_WITHOUT_BOTH: (
        "{n_a:#fault|faults} and {n_b:#earlier event|earlier events} cannot lie together; both are needed.",
    ),
    Reason.NO_CONSTANTS_FOR_STUDY: (
        (
            "The constants on file are for 2 or 3 trials, 2 or 3 operators and 2 to 10 parts; use the "
            "analysis of variance."
        ),
    ),
    Reason.NO_COUNT_OF_REELS: (
        "{bad} bad of {reels} reels is no count; give bad reels from 0 to the number looked at.",
    ),
    Reason.NO_COVERING_LIMIT: ("No limit for the covering is in force.",),
    Reason.NO_COVERING_STATED: ("The run sheet states nothing of a covering.",),
    Reason.NO_FAMILY_FITTED: ("No family could be fitted; look at the readings.",),
    Reason.NO_FAULT_ON_EITHER: (
        "Neither length has a fault, so their rates have no ratio; compare after more length.",
    ),
    Reason.NO_FREQUENCY_OR_ELECTRODE: (
        (
            "The line sheet does not give the frequency and the electrode of {id}: how long each point was "
            "tested cannot be known, so all of it counts as untested. Add 'frequency_hz' (or "
            "'direct_current') and 'window_m'."
        ),
    ),
    Reason.NO_HOT_AND_COLD: ("The line has not both a hot and a cold diameter gauge on file.",),
    Reason.NO_ITEM_WITH_A_FAULT: (
        "No item has a fault, so no circumstance can go with more of them; see the rate's upper bound.",
    ),
    Reason.NO_ITEM_WITH_A_VALUE: ("No item has a value; there is nothing to plot.",),
    Reason.NO_KNOWN_LENGTH: (
        (
            "The detector was working on no known length, so {count:#fault has|faults have} no rate; give the"
            " length on which it worked."
        ),
    ),
    Reason.NO_LENGTH_STANDS_OUT: (
        (
            "No period beyond chance. The strongest is {period_m:.4}: p = {p_value:.2g}, corrected "
            "for {trials:.0f} independent lengths ({p_local:.2g} if named beforehand)."
        ),
    ),
    Reason.NO_LIMIT_FROM_BELOW: ("No limit that bounds the wall from below is in force.",),
    Reason.NO_MEAN_WALL: (
        "The run has no usable reading of the mean wall, so its plastic cannot be reckoned.",
    ),
    Reason.NO_PAIR: ("{n:#fault makes|faults make} no pair; at least 2 are needed.",),
    Reason.NO_PAIR_OF_BAD_REELS: ("No pair of bad reels is on file; there is nothing to plot.",),
    Reason.NO_PERIOD: ("No period stands above the background.",),
    Reason.NO_PERIOD_ABOVE_NOISE: (
        (
            "No period stands above the noise: the strongest, {period:turn}, has p = {p:.2g} over all lengths"
            " from {shortest:turn} to {longest}."
        ),
    ),
    Reason.NO_POINT_PASSED: ("No point of it is known to have passed the electrode.",),
    Reason.NO_PRICES: (
        "The plant sheet gives no price of the compound or no cost of a failed reel; enter both under [prices].",
    ),
    Reason.NO_RARE_EVENT: (
        (
            "{share:.1f} % of the steady readings already lie under the limit: this is no rare event, and the"
            " findings say where it happens."
        ),
    ),
    Reason.NO_REEL_TESTED: (
        "No reel of the line was fully spark-tested, so faults have no length to be counted over.",
    ),
    Reason.NO_REPEAT: (
        "{verdict} {beside:sentences}",
        "{verdict}",
    ),
    Reason.NO_SCATTER_BETWEEN_NEIGHBOURS: (
        "{n:#reel|reels} with {sum:#fault|faults} show no scatter between neighbors; give more.",
    ),
    Reason.NO_SCATTER_OF_COUNTS: ("{n:#reel|reels} with {sum:#fault|faults} show no scatter; give more.",),
    Reason.NO_SCREW_SPEED: ("The log carries no screw speed; map 'screw_speed_rpm'.",),
    Reason.NO_SPARK_TESTER: (
        (
            "The line sheet lists no spark tester: no wire of this run is known to be tested. Add it with "
            "'station_m', 'window_m' (its electrode) and 'frequency_hz'."
        ),
    ),
    Reason.NO_SPARK_VOLTAGE: (
        "The logs hold no spark-test voltage, so nothing shows on which length the tester was working.",
    ),
    Reason.NO_SPREAD: ("No reel shows any spread; look for a stuck instrument.",),
    Reason.NO_SPREAD_STUCK: (
        "All {known:#value is|values are} equal, so there is no spread; look for a stuck instrument.",
    ),
    Reason.NO_SPREAD_TO_MEASURE: (
        (
            "All {known:#value is|values are} equal, so there is no spread to measure; look for a stuck "
            "instrument or a resolution coarser than the process."
        ),
    ),
    Reason.NO_STOP: (
        (
            "Needs a stop of at least {fewest_at_a_stop} readings of this gauge. Without one, gauge "
            "noise and wire variation cannot be separated."
        ),
    ),
    Reason.NO_SUM_OF_GAPS: ("{n:#gap makes|gaps make} no sum of {together}; wait for more.",),
    Reason.NO_TREND_OF_SO_FEW: ("{n:#fault shows|faults show} no trend; at least two are needed.",),
    Reason.ONE_VALUE_AN_ITEM: ("One value of {fewest} items at least is needed; {n} were given.",),
    Reason.ONE_WALL_SEEN: (
        (
            "The gauge reads insulation and covering as one wall: where the covering is thin cannot be seen "
            "in it. Measure the covering on cut samples, or with a gauge that tells the layers apart."
        ),
    ),
    Reason.PERIOD_NEEDS_TWO_TURNS: (
        "A period of {longest_m:.4} needs two turns; the readings span {span:.4}.",
    ),
    Reason.POSITIONS_SMEAR_THE_TURN: (
        (
            "{name}: positions known to {position_sd_m:.3} smear the phase on a turn of {turn:.4} to "
            "{left:.0f} %: these faults cannot clear it. Locate faults better."
        ),
    ),
    Reason.PROCESS_NOT_STABLE: (
        (
            "The process is not stable ({evidence}), so its spread predicts nothing. Find and remove the "
            "cause, or ask for the performance of the length already made."
        ),
    ),
    Reason.READINGS_AT_ONE_PLACE: ("All readings stand at one place.",),
    Reason.READINGS_DO_NOT_MOVE: ("The readings do not move; there is nothing to swing.",),
    Reason.READINGS_DRIFT_TOO_SLOWLY: (
        (
            "No interval: the readings drift too slowly (about {worth:.0f} independent values in {known:,d})."
            " Take one value a reel over more reels."
        ),
    ),
    Reason.READINGS_EQUAL: ("All readings are equal; look for a stuck instrument.",),
    Reason.READINGS_LEAK_BETWEEN_REELS: (
        (
            "Readings of a reel repeat their neighbors, and that leaks into the spread between reels; use "
            "the means of reels with their effective numbers."
        ),
    ),
    Reason.READINGS_REPEAT_NEIGHBOURS: (
        "Readings of one length of wire repeat their neighbors; use one value a reel.",
    ),
    Reason.READINGS_WITHOUT_PLACE: (
        "Each reading needs its place, and both must be finite; flag the faulty ones and ask again.",
    ),
    Reason.READING_OR_THRESHOLD_INFINITE: ("A reading or the threshold is infinite; flag it and ask again.",),
    Reason.REDRAW_MORE: ("Redraw the known values at least 100 times; no interval, no conclusion.",),
    Reason.REEL_OR_CORRELATION_LENGTH_NOT_POSITIVE: (
        "Reel and correlation length must be longer than zero.",
    ),
    Reason.REEL_WORTH_ONE_READING: (
        "A reel has an effective sample size of one or less. Leave it out or read more of it.",
    ),
    Reason.REEL_WORTH_TOO_FEW: (
        "A reel has an effective sample size below three. Leave it out or read more of it.",
    ),
    Reason.RESPONSE_DOES_NOT_END: (
        "The answer does not end within the series: bring a longer one, or a clear step.",
    ),
    Reason.RUNS_OF_ONE_REEL: (
        "Every run holds one reel, so runs and reels cannot be separated. Leave the runs out.",
    ),
    Reason.SENSORS_STAND_STILL: (
        "The sensors stand still or repeat one another in one order, so chance has no size; check them.",
    ),
    Reason.SERIES_DOES_NOT_VARY: ("A series that does not vary cannot answer.",),
    Reason.SERIES_WITHOUT_DELAY: ("A series that does not vary has no delay.",),
    Reason.SETTING_NOT_STEPPED: (
        "The setting was not moved in steps, and no stretch of a minute is known without a gap.",
    ),
    Reason.SHORT_VARIATION_NOT_MEASURED: (
        (
            "Variation shorter than {window_m:.4} was never measured, so only the minimum of averages over "
            "{window_m:.4} can be spoken of; cut neighboring slices and measure them."
        ),
    ),
    Reason.SPEED_HARDLY_CHANGES: (
        "The speed hardly changes in the time both logs share: a ramp, a dip or a stop shows the skew.",
    ),
    Reason.STUDY_NOT_CROSSED: (
        "A crossed study needs two parts, two operators and two trials or more, each operator on each part.",
    ),
    Reason.STUDY_READING_MISSING: (
        "A reading is missing: a crossed study needs every operator's every trial on every part.",
    ),
    Reason.SUBGROUPS_EQUAL: (
        "All values within each subgroup are equal, so chance has no size; check the instrument.",
    ),
    Reason.TAIL_NOT_FITTED: ("The tail could not be fitted; look at the deficits.",),
    Reason.TARGET_WITHOUT_WALL_LIMITS: (
        (
            "The target stands on no average wall and no wall at any point, so what a failed reel costs "
            "cannot be weighed; enter the missing limit under [[limits]]."
        ),
    ),
    Reason.TOO_FEW_ADJUSTMENTS: (
        (
            "{steps:#measured adjustment|measured adjustments} of the bolts on record; {fewest_steps} are "
            "needed to know what a turn does. Log small single turns with the meter they were made at."
        ),
    ),
    Reason.TOO_FEW_AVERAGES: (
        "{n:#average|averages} over {average_m:.4} cannot carry a line; {fewest_stretches} are needed.",
    ),
    Reason.TOO_FEW_BAD_PIECES: ("{sum} bad of {sum_2} pieces in {n:#lot|lots} cannot set limits.",),
    Reason.TOO_FEW_BLOCKS: ("{n:#block is|blocks are} too few, {fewest} are needed; gather more reels.",),
    Reason.TOO_FEW_BLOCKS_REDRAWN: (
        "Blocks of {length:.0f} readings leave {kept:.1f} of them, ten are needed; take a longer piece.",
    ),
    Reason.TOO_FEW_CLUSTERS: (
        "Needs at least {fewest} clusters below the threshold; there are {n}. Raise the threshold.",
    ),
    Reason.TOO_FEW_DIFFERING_PAIRS: ("It needs {fewest_pairs} pairs that differ; there are {n}.",),
    Reason.TOO_FEW_DIFFERING_VALUES: (
        "At least 20 finite values that differ are needed; gather more or flag the faulty ones.",
    ),
    Reason.TOO_FEW_EARLIER_RUNS: (
        (
            "{earlier:#earlier run of this product is|earlier runs of this product are} on file; five are "
            "needed to know its family."
        ),
    ),
    Reason.TOO_FEW_EFFECTIVE: (
        (
            "Needs an effective sample size of {fewest:g}; {n:#value gives|values give} {worth:.1f}. "
            "Gather more reels."
        ),
    ),
    Reason.TOO_FEW_FAULTS_FOR_A_CHANGE: (
        "{n:#fault|faults} on {n_2:#item|items} cannot show a change; 4 faults and 4 items are needed.",
    ),
    Reason.TOO_FEW_FAULTS_FOR_A_GAP: (
        "{behind:#fault|faults} on the first {first:#reel|reels} cannot set a usual gap; 3 are needed.",
    ),
    Reason.TOO_FEW_FAULTS_FOR_A_SCAN: (
        "{n:#fault cannot|faults cannot} show a repeat; {fewest} are needed.",
    ),
    Reason.TOO_FEW_FAULTS_FOR_LIMITS: (
        (
            "{sum:#reel|reels} with {sum_2:#fault|faults} cannot set limits; give a rate fixed beforehand or "
            "more reels."
        ),
    ),
    Reason.TOO_FEW_FOR_AUTOREGRESSION: (
        "{n:#value is|values are} too few for an autoregression; give {fewest} at least.",
    ),
    Reason.TOO_FEW_FOR_A_LINE: (
        "Needs an effective sample size of 5; {n:#reading gives|readings give} {effective_n:.1f}.",
    ),
    Reason.TOO_FEW_FOR_A_REPEAT: (
        "{n:#fault|faults} on reels with two or more cannot show a repeat; at least {fewest} are needed.",
    ),
    Reason.TOO_FEW_FOR_PIECES: (
        "{n:#reading is|readings are} too few for {segments:#piece|pieces}; {fewest} are needed.",
    ),
    Reason.TOO_FEW_GAPS: ("{n:#fault has|faults have} too few gaps; at least 4 are needed.",),
    Reason.TOO_FEW_GROUPS: (
        "There must be two values in a reel, two reels in a run and two runs, or no runs.",
    ),
    Reason.TOO_LITTLE_ON_ONE_SIDE: (
        (
            "{before} averages before the place and {after} after it, {mixed:.3} of mixed wire left out; {fewest} are "
            "needed on either side."
        ),
    ),
    Reason.TOO_FEW_ITEMS_FOR_CHANGES: (
        "{n:#item is|items are} too few to look for changes; {fewest} are needed.",
    ),
    Reason.TOO_FEW_ITEMS_FOR_PARAMETERS: (
        "{n:#item cannot|items cannot} separate {p} parameters. Give more items or fewer circumstances.",
    ),
    Reason.TOO_FEW_ITEMS_LEFT: ("Too few items are left after classes without a fault are set apart.",),
    Reason.TOO_FEW_KNOWN_READINGS: (
        "{n} known readings are too few or the step is not above zero; 1000 are needed.",
    ),
    Reason.TOO_FEW_PAIRS: ("{n:#pair is|pairs are} given; {fewest_pairs} are needed, and thirty tell more.",),
    Reason.TOO_FEW_PAIRS_WITH_UNCERTAINTY: (
        "It needs three pairs that differ, each with an uncertainty above 0 in both directions.",
    ),
    Reason.TOO_FEW_READINGS: ("{n:#reading is|readings are} too few; {fewest} are needed.",),
    Reason.TOO_FEW_READINGS_BELOW: (
        "Needs at least {fewest} readings below the threshold; there are {n}. Raise the threshold.",
    ),
    Reason.TOO_FEW_READINGS_TO_TRACK: ("{sum:#reading is|readings are} too few; 128 are needed.",),
    Reason.TOO_FEW_READINGS_UNDER: (
        "{tail:#reading under the threshold is|readings under the threshold are} too few.",
    ),
    Reason.TOO_FEW_REELS: ("{mean:#reel is|reels are} too few, 3 are needed.",),
    Reason.TOO_FEW_REELS_FOR_AN_INDEX: (
        "{mean:#reel is|reels are} too few, 3 are needed; gather more reels.",
    ),
    Reason.TOO_FEW_REELS_FOR_LIMITS: ("{known:#reel sets|reels set} no limits; {fewest_reels} are needed.",),
    Reason.TOO_FEW_REELS_OF_SENSORS: (
        "{m:#reel|reels} of {n} sensors cannot set a baseline; give {n_2} reels of 3 sensors at least.",
    ),
    Reason.TOO_FEW_REELS_ON_A_SIDE: (
        "{sides:#reel|reels} before and {sides_2} after are too few, {fewest_reels} are needed on each side.",
    ),
    Reason.TOO_FEW_REELS_WITH_A_FAULT: (
        (
            "{before} of the first {first} tested reels have a fault; 3 at least set a usual share, and "
            "beyond {most_with_fault:.0f} % the u-chart serves better."
        ),
    ),
    Reason.TOO_FEW_REELS_WITH_OFFSET: (
        "{base:#reel|reels} with wall and offset cannot set limits; {fewest_reels} are needed.",
    ),
    Reason.TOO_FEW_REELS_WITH_STEADY_WIRE: (
        (
            "{reels:#reel|reels} with enough steady wire are too few, {fewest_reels} are needed to see how "
            "reels differ."
        ),
    ),
    Reason.TOO_FEW_REELS_WITH_STRETCHES: (
        "{reels:#reel has|reels have} enough stretches; {fewest_reels} are needed.",
    ),
    Reason.TOO_FEW_ROWS_FOR_INPUTS: (
        "{n:#row is|rows are} too few for {p} inputs, {p_2} are needed, and every channel has to vary.",
    ),
    Reason.TOO_FEW_RUNS: (
        (
            "The first {early:#run|runs} with {of_all} tested reels, {with_fault} of them with a fault, set "
            "no usual share; {fewest_runs} runs at least are needed, and reels of both kinds."
        ),
    ),
    Reason.TOO_FEW_SAMPLES: ("It needs at least {fewest} samples; there are {n}.",),
    Reason.TOO_FEW_SAMPLES_FOR_COEFFICIENTS: (
        "{first:#sample is|samples are} too few for {count} coefficients, or the two series differ in length.",
    ),
    Reason.TOO_FEW_SHARED_BLOCKS: (
        "Both gauges read {shared} blocks of {block_m:.4} of the same steady wire; {fewest_blocks} are needed.",
    ),
    Reason.TOO_FEW_STEADY_FOR_PERIODS: ("{n} steady readings are too few; 200 are needed.",),
    Reason.TOO_FEW_STEADY_FOR_THE_TAIL: ("{value} steady readings are too few; 200 are needed.",),
    Reason.TOO_FEW_STEADY_READINGS: (
        (
            "{known} steady readings that vary are on hand, and {fewest_readings} are needed; the run has too"
            " little steady wire here, or the instrument is stuck."
        ),
    ),
    Reason.TOO_FEW_STRETCHES: (
        "Less than {fewest_blocks} stretches of {block_m:.4} were read; bring more steady wire.",
    ),
    Reason.TOO_FEW_STRETCHES_FOR_OUTPUT: (
        "Less than {fewest_blocks} stretches of {block_m:.4} of steady wire were read.",
    ),
    Reason.TOO_FEW_SUBGROUPS: ("{shape} subgroups of {shape_2} set no limits; give two of two at least.",),
    Reason.TOO_FEW_TO_SEE_A_SHAPE: (
        "{known:#value is|values are} too few to see a shape, 50 are needed; gather more.",
    ),
    Reason.TOO_FEW_VALUES_FOR_A_LIMIT: (
        "{n:#value is|values are} too few, 10 are needed; gather more reels.",
    ),
    Reason.TOO_FEW_VALUES_FOR_LIMITS: ("{known:#value sets|values set} no limits; at least two are needed.",),
    Reason.TOO_FEW_VALUES_FOR_VARIANCE: ("{sum:#value is|values are} too few, 4 are needed.",),
    Reason.TOO_FEW_VALUES_WITHOUT_DISTRIBUTION: (
        (
            "{n:#value is|values are} too few for this share without a distribution, {share} are needed; "
            "gather more or show that the values are normal."
        ),
    ),
    Reason.TOO_FEW_VARYING: ("{value} steady readings that vary are too few.",),
    Reason.TOO_FEW_VARYING_FOR_A_SHAPE: (
        "{known} steady readings that vary are too few to see a shape; 50 are needed.",
    ),
    Reason.TOO_FEW_VECTORS: (
        "{behind:#vector cannot|vectors cannot} set limits for {p} variables; at least {p_2} are needed.",
    ),
    Reason.TOO_FEW_WALL_SENSORS: (
        "Three wall sensors or more are needed; a diameter does not show where the conductor lies.",
    ),
    Reason.TOO_FEW_WHOLE_PIECES: (
        "Only {whole} of {windows} pieces have no gap; use the spectrum for gappy readings.",
    ),
    Reason.TOO_FEW_WORTH_FOR_A_SHAPE: (
        "Needs an effective sample size of {fewest}; {known} steady readings give about {thin:.0f}.",
    ),
    Reason.TOO_LITTLE_SHARED_TIME: ("The two logs share too little time to compare their clocks.",),
    Reason.UNKNOWN_READINGS: ("{unknown} of {n} readings are unknown; ask for pieces of known wire.",),
    Reason.VALUES_DO_NOT_MOVE: ("The values do not move; nothing changed.",),
    Reason.VALUES_EQUAL: ("All {n:#value is|values are} equal; look for a stuck instrument.",),
    Reason.VALUES_REPEAT_NEIGHBOURS: (
        (
            "Values along one length of wire repeat their neighbors, so the bound for independent values "
            "does not hold; pass their effective numbers (their count, if they are cut samples), or use one "
            "value a reel."
        ),
    ),
    Reason.VALUES_WITHOUT_REEL: ("Each value needs its reel, and its run if there are runs.",),
    Reason.VALUE_INFINITE: ("A value is infinite; flag it and ask again.",),
    Reason.WALL_NOT_SMOOTH: (
        (
            "The wall is not smooth at the reading interval: doubling the step multiplies the squared "
            "difference by {two:.1f} and {four:.1f}, not by 4. Count clusters under a threshold instead."
        ),
    ),
}
