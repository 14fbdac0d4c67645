//! A scenario: read, checked and planned.

use super::analogue::AnalogueModel;
use super::check::{Check, Checked};
use super::encoder::{EncoderModel, SourceFault};
use super::encoder_check::Surroundings;
use super::error::{Document, ScenarioError};
use super::file::{self, ScenarioFile, Text};
use super::input::InputModel;
use super::motion::{Goal, Limits, Path, Truth};
use super::output::OutputModel;
use super::planted::{Planted, PlantedKind};
use super::units::{self, AxisUnit, Order};

/// A checked scenario, ready to be written as a trace. See the [module](super) for the file.
#[derive(Debug, Clone)]
pub struct Scenario {
    pub(super) title: String,
    pub(super) note: Option<String>,
    pub(super) seed: u64,
    /// In nanoseconds; rows lie before it.
    pub(super) duration: i64,
    /// Row period in nanoseconds, as numerator and denominator.
    pub(super) period: (u64, u64),
    pub(super) truth: Truth,
    pub(super) encoders: [EncoderModel; 2],
    pub(super) faults: [Vec<SourceFault>; 2],
    pub(super) gaps: Vec<Gap>,
    pub(super) inputs: Vec<InputModel>,
    pub(super) analogues: Vec<AnalogueModel>,
    pub(super) planted: Vec<Planted>,
    pub(super) output: OutputModel,
}

/// Rows that are missing.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gap {
    pub(super) at: i64,
    pub(super) until: i64,
    /// Place in the list of planted facts.
    pub(super) fact: usize,
}

impl Scenario {
    /// Reads and plans a scenario; `file` is its name for error messages.
    ///
    /// # Errors
    /// [`ScenarioError`] with line and column when the text is no TOML, has an unknown key, a value without or with a
    /// wrong unit, or asks for something that cannot be (a fault after the end, an unreachable profile).
    pub fn from_toml(text: &str, file: &str) -> Result<Self, ScenarioError> {
        let document = Document { file, text };
        let written: ScenarioFile = toml::from_str(text).map_err(|error| document.toml_error(&error))?;
        let axis = AxisUnit::parse(written.unit.get_ref())
            .map_err(|complaint| document.error(written.unit.span(), complaint))?;
        let check = Check { document, axis, duration: i64::MAX };
        let duration = check.time_above_zero(&written.duration)?;
        Check { duration, ..check }.scenario(&written)
    }

    /// The true motion, for comparisons with what the sources show.
    #[must_use]
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// The title of the scenario.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Rows of the complete trace, those missing in gaps included.
    #[must_use]
    pub fn rows(&self) -> u64 {
        let (numerator, denominator) = self.period;
        // Row k lies at floor(k x numerator / denominator) and is written while that is below the duration: while
        // k x numerator is below duration x denominator. A period of 1 us or more keeps the count within 64 bits.
        let end = u128::from(self.duration.unsigned_abs()) * u128::from(denominator);
        end.div_ceil(u128::from(numerator)) as u64
    }
}

impl Check<'_> {
    fn scenario(&self, file: &ScenarioFile) -> Checked<Scenario> {
        let period = self.period(file)?;
        let row_period = (period.0 / period.1) as i64;
        let start = file.motion.start.as_ref().map_or(Ok(0.0), |text| self.position(text))?;
        let mut output = self.output(&file.output, row_period)?;
        let around =
            Surroundings { start, row_period, time_unit: output.time_unit, start_time: output.start_time };
        let encoders = [self.encoder(&file.encoder.a, around)?, self.encoder(&file.encoder.b, around)?];
        let inputs = file.input.iter().map(|input| self.input(input)).collect::<Checked<Vec<_>>>()?;
        self.columns(file, &encoders, &inputs, &mut output)?;
        let mut scenario = Scenario {
            title: self.comment(&file.title)?,
            note: file.note.as_ref().map(|note| self.comment(note)).transpose()?,
            seed: self.integer(&file.seed, 0..i64::MAX, "the seed")? as u64,
            duration: self.duration,
            period,
            truth: Truth { path: self.path(start, file)?, disturbances: Vec::new() },
            encoders,
            faults: [Vec::new(), Vec::new()],
            gaps: Vec::new(),
            inputs,
            analogues: Vec::new(),
            planted: Vec::new(),
            output,
        };
        for analogue in &file.analogue {
            self.analogue(analogue, &mut scenario)?;
        }
        for fault in &file.fault {
            self.fault(fault, &mut scenario)?;
        }
        for disturbance in &file.disturbance {
            self.disturbance(disturbance, &mut scenario)?;
        }
        for input in scenario.inputs.clone() {
            for (at, level) in input.events {
                scenario.plant(PlantedKind::Level(level), Some(input.column.clone()), at, None);
            }
            if let Some(stuck) = input.stuck_from {
                scenario.plant(PlantedKind::InputStuck, Some(input.column), stuck, None);
            }
        }
        Ok(scenario)
    }

    /// Row period in nanoseconds as a fraction, from `period` or `rate`.
    fn period(&self, file: &ScenarioFile) -> Checked<(u64, u64)> {
        match (&file.period, &file.rate) {
            (Some(period), None) => {
                let ns = self.time(period)?;
                if ns < 1_000 {
                    return self.error(period.span(), "the row period is below 1 us", "write 1 us or more");
                }
                Ok((ns as u64, 1))
            }
            (None, Some(rate)) => self.place(rate, units::rate_period(rate.get_ref())),
            (Some(both), Some(_)) => {
                self.error(both.span(), "`period` and `rate` say the same", "keep one of them")
            }
            (None, None) => self.error(
                file.duration.span(),
                "the distance of the rows is not given",
                "add `rate` (\"1 kHz\") or `period` (\"125 us\")",
            ),
        }
    }

    /// Plans every move.
    fn path(&self, start: f64, file: &ScenarioFile) -> Checked<Path> {
        let mut path = Path::at_rest(start);
        let mut begun: Option<i64> = None;
        let mut ended = 0;
        for entry in &file.moves {
            let span = entry.span();
            let entry = entry.get_ref();
            let at = match (&entry.at, &entry.wait) {
                (Some(both), Some(_)) => {
                    let advice = "keep `at` for an instant, `wait` for a pause after the move before";
                    return self.error(both.span(), "`at` and `wait` exclude each other", advice);
                }
                (Some(at), None) => self.time(at)?,
                (None, wait) => ended + self.time_or_zero(wait.as_ref())?,
            };
            let place = entry.at.as_ref().or(entry.wait.as_ref()).map_or(span.clone(), Text::span);
            if begun.is_some_and(|begun| at <= begun) {
                let message = "the move does not start after the one before it";
                return self.error(place, message, "put the moves in rising order of time");
            }
            if at >= self.duration {
                let message = "the move starts at or after the end of the trace";
                return self.error(place, message, "bring it forward or lengthen `duration`");
            }
            let (goal, limits, place) = self.goal(entry, &file.motion, span)?;
            ended =
                path.append(at, goal, limits).map_err(|complaint| self.document.error(place, complaint))?;
            begun = Some(at);
        }
        Ok(path)
    }

    /// The target and limits of a move, and the place to blame when no profile fits.
    fn goal(
        &self,
        entry: &file::Move,
        motion: &file::Motion,
        span: std::ops::Range<usize>,
    ) -> Checked<(Goal, Limits, std::ops::Range<usize>)> {
        let limit = |own: &Option<Text>, common: &Option<Text>, key, order| {
            let text = own.as_ref().or(common.as_ref());
            let text = self.needed(text, span.clone(), key, "this move needs it, here or in [motion]")?;
            self.above_zero(text, order)
        };
        let acceleration =
            limit(&entry.acceleration, &motion.acceleration, "acceleration", Order::Acceleration)?;
        let jerk = limit(&entry.jerk, &motion.jerk, "jerk", Order::Jerk)?;
        match (&entry.to, &entry.speed) {
            (Some(to), speed) => {
                let speed = limit(speed, &motion.speed, "speed", Order::Speed)?;
                let limits = Limits { speed, acceleration, jerk };
                Ok((Goal::Position(self.position(to)?), limits, to.span()))
            }
            (None, Some(speed)) => {
                let goal = Goal::Speed(self.motion(speed, Order::Speed)?);
                Ok((goal, Limits { speed: 0.0, acceleration, jerk }, speed.span()))
            }
            (None, None) => self.error(
                span,
                "the move has no target",
                "add `to` (a position) or `speed` (held until the next)",
            ),
        }
    }
}
