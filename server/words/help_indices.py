"""What the numbers of a mold and of a startup record mean, and what to do about them, for the help page."""

from typing import Final

from server.language import N_
from server.words.catalogue import Entry

INDICES: Final = (
    Entry(
        id="stability",
        name=N_("Stable"),
        meaning=N_(
            "A stretch that may be summed up in one number at all: the means of its blocks differ no more"
            " than chance lets them, and no more than 1 % of the values lie far off. Without it an index"
            " describes no process."
        ),
        formula=N_(
            "χ² of eight block means against the scatter within blocks and the likeness of neighbours"
        ),
        source=N_("χ² test of block means, p < 0.001; ISO 22514-2 asks for stability first."),
        act=N_("Find what moved, and judge the stretch since. Do not quote the index of an unstable one."),
    ),
    Entry(
        id="ppk",
        name=N_("Ppk"),
        meaning=N_(
            "How far the mean is from the nearer limit, in long-term scatter. It stands with its 95 %"
            " interval, and only after stability."
        ),
        formula=N_("min(upper − mean, mean − lower) ÷ 3 σ total"),
        source=N_("ISO 22514-2."),
        act=N_(
            "Below the demand: see whether the mean is off (Ppk well below Pp) or the scatter is too wide,"
            " and whether one press does it or all."
        ),
    ),
    Entry(
        id="cpk",
        name=N_("Cpk"),
        meaning=N_("How far the mean is from the nearer limit, in short-term scatter."),
        formula=N_("min(upper − mean, mean − lower) ÷ 3 σ within"),
        source=N_("ISO 22514-2."),
        act=N_("Well above Ppk: the level wanders. Look at what drifts or is set, not at the valve."),
    ),
    Entry(
        id="pp-cp",
        name=N_("Pp and Cp"),
        meaning=N_(
            "How wide the limits of the drawing are beside the scatter, wherever the mean lies: what Ppk and"
            " Cpk could be if it lay in the middle. Far above Ppk or Cpk, the mean is off, not the scatter."
        ),
        formula=N_("Pp = (upper − lower) ÷ 6 σ total; Cp = (upper − lower) ÷ 6 σ within"),
        source=N_("ISO 22514-2. Exists with both limits only."),
        act=N_("Enough, and Ppk not: set the mean to the middle. Not enough: no setting of the mean helps."),
    ),
    Entry(
        id="cpm",
        name=N_("Cpm"),
        meaning=N_(
            "As Cp, with the distance of the mean from its target counted as scatter: a part may lie within"
            " its limits and still be worth less for lying far from what was meant."
        ),
        formula=N_("(upper − lower) ÷ 6 √(σ² + (mean − target)²)"),
        source=N_("Chan, Cheng and Spiring 1988 (memory)."),
        act=N_("Low beside Cp: bring the mean to the target."),
    ),
    Entry(
        id="percentile-method",
        name=N_("Percentile method"),
        meaning=N_(
            "Where values are not normal, the points that cut off 0.135 % on each side stand in for"
            " mean ± 3 σ."
        ),
        formula=N_("min((U − x50) ÷ (x99.865 − x50), (x50 − L) ÷ (x50 − x0.135))"),
        source=N_("ISO 22514-2."),
        act=N_("Quote this index instead of Ppk, with its interval: tails need many values."),
    ),
    Entry(
        id="normality",
        name=N_("Normal?"),
        meaning=N_(
            "Whether the values may come from a normal distribution. Below p = 0.005 they are taken as not"
            " normal and the percentile method counts."
        ),
        formula=N_("Anderson–Darling A², with its p for estimated mean and scatter"),
        source=N_("D'Agostino and Stephens 1986, table 4.9 (memory)."),
        act=N_("Look at the distribution: two humps are two levels, one long side is often a bound."),
    ),
    Entry(
        id="demand-chance",
        name=N_("How sure the demand is met"),
        meaning=N_(
            "The chance that the true index reaches the demand, given the values at hand. An index above the"
            " demand with an interval around it is no proof yet."
        ),
        formula=N_("Φ(z · (index − demand) ÷ h), h the half of its interval towards the demand"),
        source=N_("Inverts Bissell's interval, 1990; a demand of 1.33 is common practice, no source."),
        act=N_("Undecided: more parts. State the mold's own demand on its page."),
    ),
    Entry(
        id="outside-limits",
        name=N_("Outside the limits (ppm)"),
        meaning=N_("Parts in a million beyond the limits of the drawing: those seen, and those expected."),
        formula=N_("seen = outside ÷ all · 10⁶; expected = Φ(−(upper − mean) ÷ σ) + Φ(−(mean − lower) ÷ σ)"),
        source=N_("ISO 22514-2."),
        act=N_("Seen well above expected: not one process. Look at stability and the distribution."),
    ),
    Entry(
        id="interval-95",
        name=N_("95 % interval"),
        meaning=N_(
            "Where the true number lies in 95 of 100 such judgements. Neighbouring shots that resemble each"
            " other are worth fewer, and the interval knows it."
        ),
        formula=N_("n effective ≈ n · (1 − φ) ÷ (1 + φ) for a mean, φ the likeness of neighbours"),
        source=N_("Derived from the variance of the mean of a first-order autoregression."),
        act=N_("Too wide to decide: more shots over a longer time, not the same minutes more often."),
    ),
    Entry(
        id="stands-out",
        name=N_("Does one press stand out?"),
        meaning=N_(
            "Each press's mean of a mold against those of the others. One that stands out has the problem; if"
            " all fall short alike, it is the mold or the material."
        ),
        formula=N_("mean of a press − mean of the means of the others, all intervals together 95 %"),
        source=N_("Satterthwaite 1946 for the degrees of freedom; Bonferroni for all together."),
        act=N_("Compare set-points and valve of that press with the others before the mold is touched."),
    ),
)

RECORD_TERMS: Final = (
    Entry(
        id="sigma-within",
        name=N_("s within, s total"),
        meaning=N_(
            "s within tells how much neighbours differ, s total how much all shots kept do. A total well"
            " above within tells of a level that moved."
        ),
        formula=N_("s within = mean |difference of neighbours| ÷ 1.128; s total = √(Σ(x − mean)² ÷ (n − 1))"),
        source=N_("ISO 7870-2 (d₂ = 1.128)."),
        act=N_("Total far above within: capture the record again once the press has settled."),
    ),
    Entry(
        id="false-alarm",
        name=N_("Shots to a false alarm"),
        meaning=N_(
            "How long limits from so few shots keep quiet on a sound press: what nine of ten such records"
            " hold. With everything known it would be 370 shots."
        ),
        formula=N_("run length of the limits that nine of ten presses keep, mean and σ estimated"),
        source=N_("Computed here; checked by simulation of 2,000 presses a line."),
        act=N_("Few: capture more shots, or widen the limits as the report says."),
    ),
    Entry(
        id="neighbours-alike",
        name=N_("Neighbours alike"),
        meaning=N_(
            "How much one shot resembles the next. It makes n shots worth fewer, and textbook limits call"
            " too often."
        ),
        formula=N_("φ = correlation of x(i) with x(i + 1), with its 95 % interval"),
        source=N_("Lag-1 autocorrelation, corrected for bias; interval ± 1.96 √((1 − φ²) ÷ n)."),
        act=N_("High: take shots over a longer stretch. Limits have been widened for it already."),
    ),
    Entry(
        id="shape",
        name=N_("Shape"),
        meaning=N_("Whether the kept values look normal. Limits at ± 3 σ say less where they do not."),
        formula=N_("Anderson–Darling A² and its p"),
        source=N_("D'Agostino and Stephens 1986, table 4.9 (memory)."),
        act=N_("Not normal: look at the picture of the record for two levels or single far shots."),
    ),
    Entry(
        id="display-step",
        name=N_("Display step"),
        meaning=N_(
            "The smallest step in which a press reports a value. σ is never taken smaller than it allows, or"
            " a coarse display would call at every flicker."
        ),
        formula=N_("largest step that all values are multiples of; σ from a likelihood of rounded values"),
        source=N_("Sheppard 1898 for fine steps (memory); likelihood of rounded values for coarse ones."),
        act=N_("Coarser than the scatter: let the press send more digits, if it can."),
    ),
    Entry(
        id="left-out",
        name=N_("Left out"),
        meaning=N_(
            "Shots of a stretch that are not in its record: warm-up, restarts after a stop, bad parts, values"
            " far off. Each is listed with its reason; nothing is deleted."
        ),
        formula=N_("far off: more than 4.5 robust σ from the middle; three and more in a row: a restart"),
        source=N_("Common practice, no source."),
        act=N_("Many left out: the press had not settled. Take a later stretch."),
    ),
)

PROOF_TERMS: Final = (
    Entry(
        id="ranking",
        name=N_("Area under the curve"),
        meaning=N_("How often a leaking press is ranked above a sound one. One half is a coin, 1 is always."),
        formula=N_("P(score of a leaking press > score of a sound one)"),
        source=N_("Hanley and McNeil 1982 (memory)."),
        act=N_("Read it for the signals your presses send, not for those of the best-equipped ones."),
    ),
    Entry(
        id="brier",
        name=N_("Brier score"),
        meaning=N_(
            "How far the stated chance lies from what was true, squared, averaged. Smaller is better."
        ),
        formula=N_("mean of (likelihood − 1 or 0)²"),
        source=N_("Brier 1950 (memory)."),
        act=N_("Compare it with share leaking times share not leaking: what knowing nothing gets."),
    ),
    Entry(
        id="calibration",
        name=N_("Calibration"),
        meaning=N_(
            "Of presses said to leak with 70 %, seven in ten should. The picture shows stated against true;"
            " on the line they agree."
        ),
        formula=N_("|stated − true share|, averaged over classes of the stated chance"),
        source=N_("Murphy 1973 (memory); Wilson 1927 for the intervals (memory)."),
        act=N_("Enter inspections of your own; with enough of them the score is corrected for this plant."),
    ),
)
