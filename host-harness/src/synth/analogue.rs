//! Analogue values on two lines: a course of straight pieces, with noise, a deviation of the second line, and what a line can do wrong.
//!
//! All of it in whole numbers: values are held in 10⁻⁹ of their unit and rounded once more, to the decimals of the column.

use std::ops::Range;

use super::check::{Check, Checked};
use super::error::Complaint;
use super::file::{self, Text};
use super::numeric::{Purpose, Stream};
use super::planted::PlantedKind;
use super::scenario::Scenario;
use crate::decimal::{Rounding, parse_quantity, round_scaled};
use crate::setup::AnalogueUnit;

/// Steps in which values are held, in one unit.
const STEPS: u64 = 1_000_000_000;
/// The largest value in its unit: with an offset and six times the noise it still fits 64 bits in steps.
const LARGEST: i128 = 100_000_000;
/// The places of a step.
const PLACES: u32 = 9;

/// An analogue value, its times in nanoseconds and its values in steps.
#[derive(Debug, Clone)]
pub(super) struct AnalogueModel {
    pub(super) columns: [String; 2],
    pub(super) decimals: u32,
    /// In rising order of time, at least one.
    points: Vec<(i64, i64)>,
    noise: i64,
    offset: Option<Offset>,
    sparse: bool,
    /// Whether columns of their own tell which readings are valid.
    has_valid: bool,
    /// Of each line.
    pub(super) faults: [Vec<LineFault>; 2],
}

/// What the second line reads more.
#[derive(Debug, Clone, Copy)]
struct Offset {
    by: i64,
    from: i64,
    /// `i64::MAX` when it stays.
    until: i64,
    /// Place in the list of planted facts.
    fact: usize,
}

/// A fault of one line, from `at` to `until`.
#[derive(Debug, Clone, Copy)]
pub(super) struct LineFault {
    kind: LineFaultKind,
    at: i64,
    until: i64,
    fact: usize,
}

/// What a line can do wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum LineFaultKind {
    Stuck,
    Dropped,
    Invalid,
}

impl LineFault {
    fn is_active(&self, t: i64) -> bool {
        (self.at..self.until).contains(&t)
    }
}

impl AnalogueModel {
    /// The course at `t`: straight between two points, level before the first and after the last.
    fn course(&self, t: i64) -> i64 {
        let after = self.points.partition_point(|(at, _)| *at <= t);
        match (after.checked_sub(1).map(|before| self.points[before]), self.points.get(after)) {
            (None, Some(&(_, value))) | (Some((_, value)), None) => value,
            (Some((from, low)), Some(&(to, high))) => {
                // Below 2^59 and below 2^61: the product fits.
                let (rise, run) = (i128::from(high - low), i128::from(to - from));
                let risen = (2 * rise * i128::from(t - from) + run).div_euclid(2 * run);
                // Between the two values.
                low + risen as i64
            }
            (None, None) => 0,
        }
    }

    /// The number that stands in the cell for a value, in units of its last decimal.
    pub(super) fn cell(&self, steps: i64) -> i64 {
        let cut = 10_i64.pow(PLACES - self.decimals);
        (steps + cut / 2).div_euclid(cut)
    }
}

/// One line on its way through a trace.
#[derive(Debug)]
pub(super) struct Line<'s> {
    model: &'s AnalogueModel,
    is_second: bool,
    noise: Stream,
    /// The last reading that was not stuck, and the one that is shown.
    free: Option<i64>,
    shown: Option<Shown>,
    is_fresh: bool,
}

/// A reading, and whether its line calls it valid.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shown {
    pub(super) steps: i64,
    pub(super) valid: bool,
}

impl<'s> Line<'s> {
    /// `place` is that of the analogue value in the scenario.
    pub(super) fn new(model: &'s AnalogueModel, place: usize, is_second: bool, seed: u64) -> Self {
        // Behind the two encoders.
        let source = 2 + 2 * place + usize::from(is_second);
        let noise = Stream::new(seed, source, Purpose::Noise);
        Self { model, is_second, noise, free: None, shown: None, is_fresh: false }
    }

    fn faults(&self) -> &'s [LineFault] {
        &self.model.faults[usize::from(self.is_second)]
    }

    fn offset(&self, t: i64) -> Option<Offset> {
        self.model.offset.filter(|offset| self.is_second && (offset.from..offset.until).contains(&t))
    }

    /// Takes the reading of the row at `t`.
    pub(super) fn advance(&mut self, t: i64) {
        let mut value = self.model.course(t) + self.offset(t).map_or(0, |offset| offset.by);
        if self.model.noise > 0 {
            value += self.noise.deviation_of(self.model.noise);
        }
        let active =
            |kind: LineFaultKind| self.faults().iter().any(|fault| fault.kind == kind && fault.is_active(t));
        let valid = !active(LineFaultKind::Invalid);
        let (is_stuck, is_dropped) = (active(LineFaultKind::Stuck), active(LineFaultKind::Dropped));
        match self.free {
            Some(held) if is_stuck => value = held,
            _ => self.free = Some(value),
        }
        self.is_fresh = !is_dropped;
        if self.is_fresh {
            self.shown = Some(Shown { steps: value, valid });
        }
    }

    /// What to show in the present row: nothing when no reading came and the column is sparse.
    pub(super) fn cell(&self) -> Option<Shown> {
        self.shown.filter(|_| self.is_fresh || !self.model.sparse)
    }

    /// Calls `tell` with the fact of everything that is wrong at the row at `t`.
    pub(super) fn showing(&self, t: i64, mut tell: impl FnMut(usize)) {
        self.faults().iter().filter(|fault| fault.is_active(t)).for_each(|fault| tell(fault.fact));
        self.offset(t).into_iter().for_each(|offset| tell(offset.fact));
    }
}

impl Check<'_> {
    /// Adds an analogue value to the scenario.
    pub(super) fn analogue(&self, file: &file::Analogue, scenario: &mut Scenario) -> Checked<()> {
        let [first, second] = file.columns.get_ref().as_slice() else {
            return self.error(
                file.columns.span(),
                "an analogue value has two columns",
                "write one for each line: columns = [\"torque_1\", \"torque_2\"]",
            );
        };
        if let Some(valid) = file.valid_columns.as_ref().filter(|valid| valid.get_ref().len() != 2) {
            return self.error(
                valid.span(),
                "an analogue value has two valid columns, or none",
                "write one for each line: valid_columns = [\"torque_1_valid\", \"torque_2_valid\"]",
            );
        }
        let unit = AnalogueUnit::ALL.into_iter().find(|unit| unit.symbol() == file.unit.get_ref());
        let Some(unit) = unit else {
            let message = format!("`{}` is no unit of an analogue value", file.unit.get_ref());
            return self.error(file.unit.span(), message, "write Nm, % or degC");
        };
        let decimals = self.integer(&file.decimals, 0..i64::from(PLACES) + 1, "decimals")? as u32;
        let points = self.points(file, unit)?;
        let noise = match &file.noise {
            Some(text) => self.value(text, unit)?,
            None => 0,
        };
        if let Some(text) = file.noise.as_ref().filter(|_| noise < 0) {
            return self.error(
                text.span(),
                format!("`{}` is negative", text.get_ref()),
                "write a value from zero on",
            );
        }
        let columns = [first, second].map(|name| name.get_ref().clone());
        let offset = file.offset.as_ref().map(|offset| self.offset(offset, unit, scenario, &columns[1]));
        scenario.analogues.push(AnalogueModel {
            columns,
            decimals,
            points,
            noise,
            offset: offset.transpose()?,
            sparse: file.sparse,
            has_valid: file.valid_columns.is_some(),
            faults: [Vec::new(), Vec::new()],
        });
        Ok(())
    }

    fn points(&self, file: &file::Analogue, unit: AnalogueUnit) -> Checked<Vec<(i64, i64)>> {
        let mut points: Vec<(i64, i64)> = Vec::new();
        for point in file.points.get_ref() {
            let at = self.time(&point.at)?;
            if points.last().is_some_and(|(before, _)| at <= *before) {
                let message = "the point is not after the one before it";
                return self.error(point.at.span(), message, "put the points in rising order of time");
            }
            points.push((at, self.value(&point.value, unit)?));
        }
        if points.is_empty() {
            let advice = "write one for a value that stays: points = [{ at = \"0 s\", value = \"10 %\" }]";
            return self.error(file.points.span(), "the course has no points", advice);
        }
        Ok(points)
    }

    fn offset(
        &self,
        file: &file::Offset,
        unit: AnalogueUnit,
        scenario: &mut Scenario,
        column: &str,
    ) -> Checked<Offset> {
        let by = self.value(&file.by, unit)?;
        if by == 0 {
            let advice = "write another value or remove the entry";
            return self.error(file.by.span(), "a value of zero changes nothing", advice);
        }
        let from = file.from.as_ref().map_or(Ok(0), |text| self.instant(text))?;
        let until = self.until(file.until.as_ref(), from)?;
        let fact = scenario.planted.len();
        let end = (until < i64::MAX).then_some(until);
        scenario.plant(PlantedKind::Offset, Some(column.to_owned()), from, end);
        Ok(Offset { by, from, until, fact })
    }

    /// A value in steps, to nearest.
    fn value(&self, text: &Text, unit: AnalogueUnit) -> Checked<i64> {
        let quantity = parse_quantity(text.get_ref(), unit.dimension());
        let quantity =
            self.place(text, quantity.map_err(|error| Complaint::new(error.to_string(), error.way_out())))?;
        let most = LARGEST * i128::from(STEPS);
        let steps = round_scaled(&quantity.value, STEPS, Rounding::Nearest);
        match steps.filter(|steps| steps.abs() <= most).and_then(|steps| i64::try_from(steps).ok()) {
            Some(steps) => Ok(steps),
            None => self.error(
                text.span(),
                format!("`{}` is out of range", text.get_ref()),
                format!("stay within {LARGEST} {}", unit.symbol()),
            ),
        }
    }

    /// Adds a fault of a line, when `source` is its column; false when no line is called so.
    pub(super) fn line_fault(
        &self,
        source: &Text,
        (kind, kind_span): (PlantedKind, Range<usize>),
        (at, until): (i64, i64),
        scenario: &mut Scenario,
    ) -> Checked<bool> {
        let name = source.get_ref();
        let all = scenario.analogues.iter().enumerate();
        let found = all
            .flat_map(|(place, model)| {
                model.columns.iter().enumerate().map(move |(line, column)| (place, line, column))
            })
            .find(|(.., column)| *column == name);
        let Some((place, line, _)) = found else { return Ok(false) };
        let effect = match kind {
            PlantedKind::Stuck => LineFaultKind::Stuck,
            PlantedKind::Dropped => LineFaultKind::Dropped,
            PlantedKind::Invalid if scenario.analogues[place].has_valid => LineFaultKind::Invalid,
            PlantedKind::Invalid => {
                let message = "the line has no column of `valid_columns` to show it";
                return self.error(kind_span, message, "add `valid_columns` to its [[analogue]]");
            }
            _ => {
                let message = format!("a line of an analogue value has no fault `{kind}`");
                return self.error(
                    kind_span,
                    message,
                    "use stuck, dropped or invalid; for a deviation write `offset` in its [[analogue]]",
                );
            }
        };
        if effect == LineFaultKind::Dropped && at == 0 && !scenario.analogues[place].sparse {
            let message = "the first reading cannot be dropped: there is none before it to hold";
            return self.error(source.span(), message, "drop later readings, or set `sparse = true`");
        }
        let fact = scenario.planted.len();
        scenario.analogues[place].faults[line].push(LineFault { kind: effect, at, until, fact });
        scenario.plant(kind, Some(name.clone()), at, (until < i64::MAX).then_some(until));
        Ok(true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn model(points: &[(i64, i64)]) -> AnalogueModel {
        AnalogueModel {
            columns: ["a".to_owned(), "b".to_owned()],
            decimals: 9,
            points: points.to_vec(),
            noise: 0,
            offset: None,
            sparse: false,
            has_valid: false,
            faults: [Vec::new(), Vec::new()],
        }
    }

    #[test]
    fn a_course_is_straight_between_its_points_and_level_outside() {
        let course = model(&[(10, 100), (20, 200), (23, -1)]);
        for (t, value) in
            [(0, 100), (10, 100), (11, 110), (19, 190), (20, 200), (21, 133), (22, 66), (23, -1), (99, -1)]
        {
            assert_eq!(course.course(t), value, "{t}");
        }
        let far = 100_000_000_000_000_000;
        let course = model(&[(0, -far), (1 << 60, far)]);
        assert_eq!(course.course(1 << 59), 0, "the widest there is");
    }

    #[test]
    fn a_cell_is_rounded_to_its_decimals() {
        let model = AnalogueModel { decimals: 2, ..model(&[(0, 0)]) };
        for (steps, cell) in
            [(4_999_999, 0), (5_000_000, 1), (-5_000_000, 0), (-5_000_001, -1), (12_340_000_000, 1_234)]
        {
            assert_eq!(model.cell(steps), cell, "{steps}");
        }
    }
}
