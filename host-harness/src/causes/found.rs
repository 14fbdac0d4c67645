//! What a decomposition found.

use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

use super::cause::{Cause, Estimate, Side};
use super::kind::CauseKind;
use super::words::{Words, plain};

/// What to know besides the samples.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// What to add to an instant of a frame to get the time of the trace, in ns, as
    /// [`FrameSource::origin_ns`](crate::replay::FrameSource::origin_ns) says.
    pub origin_ns: i128,
    /// Travel of one turn of either source, in the axis unit, where it is known; else the periods are looked for.
    pub period: [Option<f64>; 2],
}

/// One column of the regression, so that it can be made again from the samples.
///
/// Rows are places in [`Samples::points`](super::Samples::points). `x`, `v`, `a` are those of [`Decomposition::trusted`].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "of", rename_all = "kebab-case")]
pub enum Column {
    /// 1.
    One,
    /// x.
    Travel,
    /// v.
    Speed,
    /// a.
    Acceleration,
    /// Time since the reference.
    Time,
    /// `(x − p) / width`, where p follows x as soon as it is more than half of `width` behind, and starts with it.
    Play {
        /// The play of the operator.
        width: f64,
    },
    /// `sin(2π x / period)`, x of one channel.
    Sine {
        /// Travel of one turn.
        period: f64,
        /// Whose travel: the eccentricity is that of the other one.
        by: Side,
    },
    /// `cos(2π x / period)` likewise.
    Cosine {
        /// Travel of one turn.
        period: f64,
        /// Whose travel.
        by: Side,
    },
    /// 0 up to `from`, 1 from `until` on, and rising evenly between: instants in seconds since the reference.
    Rise {
        /// The last instant at 0.
        from: f64,
        /// The first instant at 1; that of the last row: never.
        until: f64,
    },
    /// 1 in the rows from `from` on and before `until`, else 0.
    Box {
        /// The first row.
        from: usize,
        /// The row after the last.
        until: usize,
    },
    /// v times the [`Rise`](Self::Rise) of the same instants: readings that begin to come later, by more and more until `until`.
    SpeedSince {
        /// The last instant at 0.
        from: f64,
        /// The first instant with all of v.
        until: f64,
    },
    /// Travel of one channel from the row before `from` on, before it 0.
    TravelSince {
        /// Whose travel.
        side: Side,
        /// The first row.
        from: usize,
    },
}

/// A column with its coefficient by ordinary least squares.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Coefficient {
    /// The column.
    pub column: Column,
    /// Its coefficient.
    pub value: f64,
    /// Its standard error after Newey and West (1987) with [`Decomposition::lags`].
    pub standard_error: f64,
}

/// One cause and what it has in the difference.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Term {
    /// The cause.
    pub cause: Cause,
    /// Its share in d at the trip: what it adds there less what it added at the reference, in the axis unit.
    pub share: Estimate,
    /// What it swings from the reference to the trip, largest less smallest, in the axis unit.
    pub swing: f64,
}

impl Term {
    /// One line: the cause, its size, and its share.
    #[must_use]
    pub fn line(&self, words: &Words, apart: f64) -> String {
        let share = plain(self.share.value, apart);
        format!(
            "{}: {share} {unit} of the {} {unit}",
            self.cause.text(words),
            plain(apart, apart),
            unit = words.unit
        )
    }
}

/// Another cause that explains the samples as well as one that was chosen, or nearly.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Alternative {
    /// The one that was chosen.
    pub chosen: CauseKind,
    /// The other one.
    pub instead: CauseKind,
    /// How much worse the information criterion is with it: below 6 it is hardly to be told apart (Kass and Raftery 1995).
    pub worse_by: f64,
    /// What motion would tell them apart.
    pub tell_apart: String,
}

/// Terms whose estimates hang together.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Collinear {
    /// The condition index of Belsley, Kuh and Welsch (1980): 30 and more harms.
    pub condition_index: f64,
    /// The terms with more than half of their variance in it.
    pub terms: Vec<CauseKind>,
}

/// What cannot be concluded, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum Inconclusive {
    /// This channel never had a reading that could be compared.
    NoReadings {
        /// The channel.
        side: Side,
    },
    /// Too few samples for an estimate: nothing is concluded.
    TooFewSamples {
        /// How many there are.
        samples: u64,
    },
    /// Neither moved by more than a few counts: nothing is concluded.
    NoMotion,
    /// The speed hardly changed: a skew cannot be told from an offset, nor a scale error from a drift.
    ConstantSpeed,
    /// Motion in one direction only: play cannot be told from an offset.
    OneDirection,
    /// The references were taken anew on the way: what was before is not in the samples.
    NewReferences {
        /// How often.
        times: u64,
    },
}

impl fmt::Display for Inconclusive {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoReadings { side } => {
                write!(f, "channel {} had no reading that could be compared: nothing is concluded", side.letter())
            }
            Self::TooFewSamples { samples } => {
                write!(f, "{samples} samples are too few for an estimate: record a longer stretch before the trip")
            }
            Self::NoMotion => f.write_str("the axis hardly moved: nothing is concluded; record a move there and back"),
            Self::ConstantSpeed => f.write_str(
                "the speed hardly changed: a skew cannot be told from an offset, nor a scale error from a drift; record a start and a stop, at two speeds",
            ),
            Self::OneDirection => {
                f.write_str("motion in one direction only: play cannot be told from an offset; record a move there and back")
            }
            Self::NewReferences { times } => {
                let times = if *times == 1 { "once".to_owned() } else { format!("{times} times") };
                write!(f, "the references were taken anew {times}: what was before is not looked at")
            }
        }
    }
}

/// The channel that was trusted for travel, speed and acceleration from an instant on, because the other one had failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Trust {
    /// The trusted one.
    pub side: Side,
    /// The first row.
    pub from: usize,
}

/// Where a disagreement comes from.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Decomposition {
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// When the references were taken, in ns on the clock of the trace.
    pub reference_ns: i64,
    /// The trip, in ns on the clock of the trace.
    pub trip_ns: i64,
    /// d at the trip.
    pub apart: f64,
    /// The causes, the largest share first, those that are not [firm](Self::is_firm) at the end. What is not certain and small is not named. The shares and `rest` add up to `apart`.
    pub terms: Vec<Term>,
    /// What is left of d at the trip.
    pub rest: f64,
    /// What is left at all samples, root mean square: quantisation, noise, and what is not modelled.
    pub noise: f64,
    /// Rows used.
    pub samples: u64,
    /// As many independent ones would say as much: the residuals are correlated.
    pub effective_samples: f64,
    /// The regression behind it.
    pub coefficients: Vec<Coefficient>,
    /// Lags of the standard errors.
    pub lags: usize,
    /// Where one channel was trusted alone.
    pub trusted: Option<Trust>,
    /// Estimates that hang together.
    pub collinear: Vec<Collinear>,
    /// Other causes that would do nearly as well.
    pub alternatives: Vec<Alternative>,
    /// What cannot be concluded.
    pub inconclusive: Vec<Inconclusive>,
}

/// Shares of so many times d are cancelled by others.
const CANCELLING: f64 = 1.5;

impl Decomposition {
    /// The cause with the largest share at the trip, of those that are certain; `None`: none was found, or none for certain.
    #[must_use]
    pub fn main(&self) -> Option<&Term> {
        self.terms.first().filter(|term| self.is_firm(term))
    }

    /// Whether a term can stand for itself: its size is not 0 for all that is known, and it is not one of several that
    /// cancel each other, each much larger than d and hanging together with the others.
    #[must_use]
    pub fn is_firm(&self, term: &Term) -> bool {
        let is_large = term.share.value.abs() > CANCELLING * self.apart.abs();
        let kind = term.cause.kind();
        let hangs_together = self.collinear.iter().any(|group| group.terms.contains(&kind));
        term.cause.is_certain() && !(is_large && hangs_together)
    }

    /// What the text of its parts needs.
    #[must_use]
    pub const fn words(&self) -> Words {
        Words { unit: self.unit }
    }
}

impl fmt::Display for Decomposition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words = self.words();
        writeln!(f, "apart by {} {} at the trip", plain(self.apart, self.apart), self.unit)?;
        for term in &self.terms {
            writeln!(f, "  {}", term.line(&words, self.apart))?;
        }
        let noise = plain(self.noise, self.apart);
        writeln!(
            f,
            "  rest: {} {unit}; {noise} {unit} rms over all",
            plain(self.rest, self.apart),
            unit = self.unit
        )?;
        if let Some(main) = self.main() {
            writeln!(f, "  usually: {}", main.cause.kind().advice())?;
        }
        for other in &self.alternatives {
            let (chosen, instead) = (other.chosen.name(), other.instead.name());
            writeln!(f, "  {instead} instead of {chosen} would do nearly as well; {}", other.tell_apart)?;
        }
        for group in &self.collinear {
            let names: Vec<_> = group.terms.iter().map(|kind| kind.name()).collect();
            let (names, index) = (names.join(", "), group.condition_index);
            writeln!(
                f,
                "  hang together, so each for itself is uncertain: {names} (condition index {index:.0})"
            )?;
        }
        for why in &self.inconclusive {
            writeln!(f, "  {why}")?;
        }
        Ok(())
    }
}
