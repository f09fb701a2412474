"""Every method by its standard name, with its source where it has one."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.methods import Method

# Method -> name, source.
METHODS: Mapping[Method, tuple[str, str]] = {
    Method.AUTOREGRESSION: (
        "autoregression",
        "Yule and Walker",
    ),
    Method.AVERAGED_SPECTRUM: (
        "averaged spectrum",
        "Welch 1967",
    ),
    Method.BEST_FAMILY: (
        "quantile index of the best fitting family, block bootstrap",
        "",
    ),
    Method.BETWEEN_MARKS: (
        "between surveyed marks, Brownian bridge",
        "derived",
    ),
    Method.BLOCK_BOOTSTRAP: (
        "circular block bootstrap, bias-corrected percentiles",
        "Politis and Romano 1992; Efron 1981",
    ),
    Method.BLOCK_MINIMA: (
        "block minima, generalized extreme-value distribution, profile likelihood",
        "Coles 2001",
    ),
    Method.CHAIN_MERGING_UNDONE: (
        "chain merging undone, exact Poisson interval",
        "Garwood 1936",
    ),
    Method.CHANGE_OF_A_RATE: (
        "change of a Poisson rate: likelihood over all places, p-value by simulation",
        "",
    ),
    Method.CLOPPER_PEARSON: (
        "exact binomial interval",
        "Clopper and Pearson 1934",
    ),
    Method.CLOSE_PAIRS: (
        "number of close pairs, faults placed anywhere by simulation",
        "",
    ),
    Method.CLUSTERS_BELOW_THRESHOLD: (
        "clusters below a threshold, generalized Pareto depths, profile likelihood",
        "Coles 2001",
    ),
    Method.CONDITIONAL_EXACT: (
        "conditional binomial test, small p-values summed",
        "Przyborowski and Wilenski 1940",
    ),
    Method.CONDITIONAL_MID_P: (
        "conditional test with mid-p, doubled tail",
        "Przyborowski and Wilenski, Biometrika 31, 1940",
    ),
    Method.COUNT_REGRESSION: (
        "{model} regression of counts with known length as exposure",
        "",
    ),
    Method.CROSSINGS: (
        "crossings of a smooth normal wall, mixed over reels",
        "Rice 1944",
    ),
    Method.CROSS_CORRELATION: (
        "cross-correlation after prewhitening",
        "",
    ),
    Method.CURVATURE_AT_ZERO: (
        "curvature of the correlation at zero",
        "Rice 1944",
    ),
    Method.CUSUM_TEST: (
        "CUSUM test with long-run variance",
        "",
    ),
    Method.CYCLES_AT_EACH_POINT: (
        "cycles at each point",
        "",
    ),
    Method.DIAMETER_ONLY: (
        "diameter and conductor only",
        "",
    ),
    Method.DIFFERENCE_OF_REEL_MEANS: (
        "difference of reel means with errors by run or by effective number of reels",
        "Welch 1938",
    ),
    Method.ERRORS_IN_BOTH: (
        "errors in both directions",
        "York",
    ),
    Method.EVENT_COINCIDENCE: (
        "event coincidence, chance by shifting around each reel",
        "",
    ),
    Method.EXPECTED_LOSS: (
        "expected one-sided loss per reel over bootstrap draws",
        "",
    ),
    Method.E_TEST: (
        "E-test",
        "Krishnamoorthy and Thomson, J. Stat. Plan. Inference 119, 2004, 23",
    ),
    Method.GAP_CUSUM: (
        "exponential CUSUM of the wire between faults",
        "Lucas 1985",
    ),
    Method.GAP_VARIATION: (
        "coefficient of variation of gaps, faults placed anywhere by simulation",
        "",
    ),
    Method.GENERALIZED_LEAST_SQUARES: (
        "generalized least squares, errors AR(1), Newey-West check of the residuals",
        "Prais and Winsten 1954",
    ),
    Method.G_CHART: (
        "g-chart, geometric limits",
        "",
    ),
    Method.INDEX_OF_REELS: (
        "one-sided index of one value a reel",
        "ISO 22514-2",
    ),
    Method.INDEX_WITHIN_REELS: (
        "index within reels",
        "ISO 22514-2",
    ),
    Method.INTERVALS_ESTIMATE: (
        "intervals estimate; jackknife over twenty groups of spacings",
        "Ferro and Segers 2003",
    ),
    Method.LANEY_CHART: (
        "Laney's u\u2032-chart",
        "Quality Engineering 14, 2002, 531",
    ),
    Method.LEAST_SQUARES_DRIFT: (
        "least squares, error widened for correlation",
        "",
    ),
    Method.LEAST_SQUARES_OF_ADJUSTMENTS: (
        "least squares over logged adjustments, weighted by what each was measured with",
        "",
    ),
    Method.LIMITS_OF_AGREEMENT: (
        "limits of agreement",
        "Bland and Altman",
    ),
    Method.LOG_LINEAR_RATE: (
        "log-linear rate, profile likelihood; Laplace's test",
        "Cox and Lewis 1966, 3.3",
    ),
    Method.LOMB_SCARGLE: (
        "Lomb-Scargle periodogram of prewhitened readings",
        "Baluev 2008",
    ),
    Method.MASS_BY_MEAN_WALL: (
        "density times area by the mean wall",
        "derived",
    ),
    Method.MASS_OF_LOOSE_WIRE: (
        "density times area by the mean wall, over the wire on no reel",
        "derived",
    ),
    Method.MEAN_AND_SPREAD_CHARTS: (
        "mean and spread charts",
        "",
    ),
    Method.MEAN_AND_SPREAD_CHARTS_OF_REELS: (
        "mean and s charts",
        "",
    ),
    Method.MEAN_CHART: (
        "mean chart, limits from the mean {spread}",
        "",
    ),
    Method.MEAN_FIRST_HARMONIC: (
        "mean of the first-harmonic vector; standard error by effective number of readings",
        "",
    ),
    Method.MULTIVARIATE_EWMA: (
        "multivariate EWMA, weight {weight:g}",
        "",
    ),
    Method.NESTED_ANALYSIS_OF_VARIANCE: (
        "nested analysis of variance",
        "Satterthwaite 1946",
    ),
    Method.NORMAL_INDEPENDENT: (
        "normal readings taken as independent (the usual figure)",
        "",
    ),
    Method.NORMAL_TOLERANCE_LIMIT: (
        "exact normal tolerance limit, noncentral t",
        "",
    ),
    Method.OFFSETS_AS_VECTORS: (
        "offsets added as vectors: total less covering, bounded by the covering's own offset",
        "derived",
    ),
    Method.ONE_SIDED_INDEX: (
        "one-sided performance index",
        "ISO 22514-2",
    ),
    Method.ORDER_TRACKING: (
        "order tracking: sharpness of the strongest line on each axis",
        "",
    ),
    Method.PAIRED_DIFFERENCES: (
        "mean of paired differences, t interval",
        "Bland and Altman 1986",
    ),
    Method.PELT: (
        "PELT, squared error, penalty from the long-run variance",
        "Killick, Fearnhead and Eckley 2012",
    ),
    Method.TWO_LEVELS: (
        "difference of two levels at a place named beforehand, correlation weighed by its likelihood",
        "",
    ),
    Method.PERFORMANCE_INDEX: (
        "{symbol} = (mean to limit)/(3 s); lower bound from the noncentral t",
        "ISO 22514-2",
    ),
    Method.PHASES_OF_FAULTS: (
        "phases of faults at listed circumferences (Rayleigh, summed over reels), look-elsewhere corrected",
        "",
    ),
    Method.POISSON_CHANGE: (
        "Poisson change of rate",
        "",
    ),
    Method.POISSON_RATE: (
        "Poisson rate, exact interval",
        "Garwood, Biometrika 28, 1936, 437",
    ),
    Method.POISSON_REGRESSION: (
        "Poisson regression with exposure",
        "",
    ),
    Method.POOLED_AT_STOPS: (
        "pooled standard deviation at line stops, chi-square interval",
        "",
    ),
    Method.PREDICTION_INTERVAL: (
        "prediction interval of earlier runs",
        "",
    ),
    Method.PREWHITENED_CROSS_CORRELATION: (
        "cross-correlation after prewhitening, t interval over stretches",
        "Box and Jenkins",
    ),
    Method.P_CHART: (
        "p-chart, three standard deviations",
        "",
    ),
    Method.P_CHART_EXACT: (
        "p-chart, exact binomial limits, alpha {alpha:.3g}",
        "",
    ),
    Method.QUANTILE_INDEX: (
        "{symbol} = (X50 to limit)/(X50 to 0.135 % point), fitted distribution; block bootstrap",
        "ISO 22514-2",
    ),
    Method.QUANTILE_INDEX_OF_FAMILY: (
        "{method}; {family}",
        "",
    ),
    Method.RANK_CORRELATION: (
        (
            "rank correlation of scrap with each circumstance, permutation p, Holm; permutation intervals, "
            "Bonferroni"
        ),
        "",
    ),
    Method.RATE_RATIO: (
        "{test}; ratio with Clopper-Pearson interval",
        "",
    ),
    Method.RATIO_OF_AREAS: (
        "ratio of cold to hot area over blocks of 100 m, t interval on effective blocks",
        "derived",
    ),
    Method.REDUNDANT_INSTRUMENTS: (
        "redundant instruments compared",
        "",
    ),
    Method.REPEATS_OF_ANY_LENGTH: (
        "sum of 2nR\u00b2 over reels, p-value corrected for every length looked at",
        "Davies 1987",
    ),
    Method.REPEATS_OF_ELEMENTS: (
        "sum of 2nR\u00b2 over reels, p-value corrected for every listed element",
        "Davies 1987",
    ),
    Method.RESIDUAL_CHART: (
        "residual chart of an autoregression of order {order}, {width:.4g} standard deviations",
        "",
    ),
    Method.RESTRICTED_LIKELIHOOD: (
        "restricted maximum likelihood on reel means, profile likelihood",
        "",
    ),
    Method.RETURN_LEVEL: (
        "return level of the generalized Pareto tail, profile likelihood",
        "Coles 2001, 4.3.3",
    ),
    Method.RUN_LESS_REELS: (
        "run less reels, ends written to a meter",
        "derived",
    ),
    Method.SCATTER_OF_COUNTS: (
        "dispersion of the counts on pieces of {cell_m:.4} of tested wire",
        "",
    ),
    Method.SHIFT_OF_SPEED: (
        "least squares of the shift of the line speed",
        "derived",
    ),
    Method.SMALLEST_VALUE: (
        "smallest value as a tolerance limit, any distribution",
        "Wilks 1941",
    ),
    Method.SPECIFIC_OUTPUT: (
        "3.6 rho A v / N over blocks of wire",
        "",
    ),
    Method.SPECIMEN_MARGIN: (
        "observed minus noise plus small-scale variance",
        "Satterthwaite 1946",
    ),
    Method.STATED_COVERING: (
        "stated mean, offset and uncertainty",
        "",
    ),
    Method.STEPS_OF_A_SETTING: (
        "output before and after steps of the setting, weighted by its own drift",
        "",
    ),
    Method.SUM_OF_GAPS_CHART: (
        "chart of sums of {together} gaps",
        "",
    ),
    Method.TABULAR_CUSUM: (
        "tabular CUSUM",
        "Page 1954",
    ),
    Method.TABULAR_CUSUM_BOTH_SIDES: (
        "tabular CUSUM, the upper sum above the axis and the lower below",
        "Page 1954",
    ),
    Method.TAIL_MIXED_OVER_REELS: (
        (
            "tail of clusters below each reel's level mixed over reels; block bootstrap; runs and reels drawn"
            " together"
        ),
        "",
    ),
    Method.TIME_IN_ELECTRODE: (
        "frequency times time in the electrode, from the speed the wire really had",
        "derived",
    ),
    Method.TOLERANCE_LIMIT: (
        "one-sided tolerance limit, any distribution",
        "Wilks 1941",
    ),
    Method.TOTAL_LESS_COVERING: (
        "total wall less the covering",
        "",
    ),
    Method.TOTAL_WALL: (
        "total wall of insulation and covering",
        "",
    ),
    Method.TRANSFER_FUNCTION: (
        "transfer function with autoregressive noise, conditional least squares",
        "Box and Jenkins",
    ),
    Method.TRANSFER_OF_A_SETTING: (
        "transfer function with autoregressive noise",
        "Box and Jenkins",
    ),
    Method.TWO_SIDED_INDEX: (
        "{symbol} = distance to the nearer limit/(3 s); lower bound after Bissell 1990",
        "ISO 22514-2",
    ),
    Method.TWO_SIDED_INDEX_OF_REELS: (
        "two-sided index of one value a reel",
        "ISO 22514-2",
    ),
    Method.T_CHART: (
        "t-chart, probability limits",
        "",
    ),
    Method.U_CHART: (
        "u-chart, exact Poisson limits, alpha {alpha:g}",
        "",
    ),
    Method.WELCH_AND_SINUSOID: (
        "averaged spectrum against a red background, then least squares of one sinusoid",
        "Welch 1967",
    ),
    Method.WITHIN_REEL_INDEX: (
        "(grand mean - L)/(3 sigma within), pooled over reels; bound by Student's t",
        "ISO 22514-2",
    ),
}
METHOD_NAMES: Mapping[str, tuple[str, ...]] = {
    method: (f"{name} ({source})" if source else name,) for method, (name, source) in METHODS.items()
}
