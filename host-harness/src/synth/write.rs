//! Rows of a trace, written from integers.

use std::io::Write;

use super::analogue::Line;
use super::encoder::{CellNumber, Encoder};
use super::error::WriteError;
use super::output::Column;
use super::planted::{Planted, PlantedKind};
use super::scenario::Scenario;

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Written {
    /// Data rows, without comments and header.
    pub rows: u64,
    /// What was planted: faults and disturbances in the order of the file, then the changes of the inputs.
    pub planted: Vec<Planted>,
}

/// Everything that reads something, at the present row.
type Shown<'a> = (&'a [Encoder<'a>; 2], &'a [[Line<'a>; 2]]);

/// Bytes gathered before they are handed on.
const BLOCK_BYTES: usize = 1 << 16;

impl Scenario {
    /// Writes the trace: comment lines, one header row, one row per period. Memory use does not depend on the length.
    ///
    /// The same scenario gives the same bytes every time. `out` is not flushed.
    ///
    /// # Errors
    /// [`WriteError::Io`] from `out`; [`WriteError::OutOfRange`] when a reading leaves 2^62 steps from the start.
    pub fn write(&self, out: &mut impl Write) -> Result<Written, WriteError> {
        let mut line = Vec::with_capacity(BLOCK_BYTES + 4096);
        self.push_head(&mut line);
        let mut planted = self.planted.clone();
        let mut encoders = [0, 1]
            .map(|source| Encoder::new(&self.encoders[source], &self.faults[source], self.seed, source));
        let mut lines: Vec<[Line<'_>; 2]> = (self.analogues.iter().enumerate())
            .map(|(place, model)| {
                [false, true].map(|is_second| Line::new(model, place, is_second, self.seed))
            })
            .collect();
        let mut next_events = vec![0; self.inputs.len()];
        let mut clock = RowClock::new(self.period);
        let mut rows = 0;
        let mut left_out: Vec<usize> = Vec::new();
        while clock.t < self.duration {
            let t = clock.t;
            for (model, encoder) in self.encoders.iter().zip(&mut encoders) {
                encoder.advance(t, &self.truth).map_err(|_| WriteError::OutOfRange {
                    column: model.column.clone(),
                    time_ns: t + self.output.start_time,
                })?;
            }
            lines.iter_mut().flatten().for_each(|line| line.advance(t));
            clock.advance();
            let mut gaps = self.gaps.iter().filter(|gap| t >= gap.at && t < gap.until).peekable();
            if gaps.peek().is_some() {
                for gap in gaps {
                    if !left_out.contains(&gap.fact) {
                        left_out.push(gap.fact);
                    }
                }
                continue;
            }
            self.note_facts(t, (&encoders, &lines), &mut left_out, &mut planted);
            self.push_row(&mut line, t, (&encoders, &lines), &mut next_events);
            rows += 1;
            if line.len() >= BLOCK_BYTES {
                out.write_all(&line)?;
                line.clear();
            }
        }
        out.write_all(&line)?;
        Ok(Written { rows, planted })
    }

    fn push_head(&self, line: &mut Vec<u8>) {
        line.extend_from_slice(b"# invented data\n");
        for text in std::iter::once(&self.title).chain(&self.note).filter(|text| !text.is_empty()) {
            line.extend_from_slice(b"# ");
            line.extend_from_slice(text.as_bytes());
            line.push(b'\n');
        }
        for (index, (name, _)) in self.output.columns.iter().enumerate() {
            if index > 0 {
                line.push(self.output.delimiter);
            }
            line.extend_from_slice(name.as_bytes());
        }
        line.push(b'\n');
    }

    /// Notes the time of this row in every fact that it is the first to show.
    fn note_facts(
        &self,
        t: i64,
        (encoders, lines): Shown<'_>,
        left_out: &mut Vec<usize>,
        planted: &mut [Planted],
    ) {
        let time = t + self.output.start_time;
        let mut note = |fact: usize| {
            planted[fact].first_row_ns.get_or_insert(time);
        };
        encoders.iter().for_each(|encoder| encoder.showing(&mut note));
        lines.iter().flatten().for_each(|line| line.showing(t, &mut note));
        left_out.drain(..).for_each(&mut note);
        // Faults of sources and lines, and gaps, have been told above; the rest begins at its instant, in no particular order.
        for fact in planted.iter_mut().filter(|fact| fact.first_row_ns.is_none() && fact.at_ns <= time) {
            if fact.kind.is_of_the_axis_or_an_input() {
                fact.first_row_ns = Some(time);
            }
        }
    }

    fn push_row(&self, line: &mut Vec<u8>, t: i64, (encoders, lines): Shown<'_>, next_events: &mut [usize]) {
        let output = &self.output;
        for (index, (_, column)) in output.columns.iter().enumerate() {
            if index > 0 {
                line.push(output.delimiter);
            }
            match *column {
                Column::Time => {
                    let cut = 10i64.pow(output.time_unit.digits() - output.time_decimals);
                    // Rounded to nearest; a cut of one leaves every nanosecond.
                    let value = (t + output.start_time + cut / 2).div_euclid(cut);
                    push_decimal(line, value, output.time_decimals, output.point);
                }
                Column::Reading(source) => {
                    if let Some(reading) = encoders[source].cell() {
                        match self.encoders[source].scale.cell(reading.steps) {
                            (CellNumber::Signed(value), decimals) => {
                                push_decimal(line, value, decimals, output.point);
                            }
                            (CellNumber::Unsigned(value), _) => push_digits(line, value, 1),
                        }
                    }
                }
                Column::Captured(source) => {
                    if let (Some(reading), Some((_, unit))) =
                        (encoders[source].cell(), &self.encoders[source].capture)
                    {
                        push_decimal(line, reading.captured + output.start_time, unit.digits(), output.point);
                    }
                }
                Column::Valid(source) => {
                    if let Some(reading) = encoders[source].cell() {
                        line.push(b'0' + u8::from(reading.valid));
                    }
                }
                Column::Input(input) => {
                    line.push(b'0' + self.inputs[input].level(t, &mut next_events[input]));
                }
                Column::Analogue(place, of) => {
                    let model = &self.analogues[place];
                    if let Some(shown) = lines[place][of].cell() {
                        push_decimal(line, model.cell(shown.steps), model.decimals, output.point);
                    }
                }
                Column::AnalogueValid(place, of) => {
                    if let Some(shown) = lines[place][of].cell() {
                        line.push(b'0' + u8::from(shown.valid));
                    }
                }
            }
        }
        line.push(b'\n');
    }
}

impl PlantedKind {
    const fn is_of_the_axis_or_an_input(self) -> bool {
        matches!(self, Self::Creep | Self::Vibration | Self::Level(_) | Self::InputStuck)
    }
}

/// Row instants `floor(k x numerator / denominator)`, without a division per row.
struct RowClock {
    t: i64,
    whole: i64,
    rest: u64,
    denominator: u64,
    carried: u64,
}

impl RowClock {
    fn new((numerator, denominator): (u64, u64)) -> Self {
        Self {
            t: 0,
            whole: (numerator / denominator) as i64,
            rest: numerator % denominator,
            denominator,
            carried: 0,
        }
    }

    fn advance(&mut self) {
        self.t += self.whole;
        self.carried += self.rest;
        if self.carried >= self.denominator {
            self.carried -= self.denominator;
            self.t += 1;
        }
    }
}

/// `value` divided by 10^`decimals`, with exactly that many digits after the point.
fn push_decimal(line: &mut Vec<u8>, value: i64, decimals: u32, point: u8) {
    if value < 0 {
        line.push(b'-');
    }
    let magnitude = value.unsigned_abs();
    if decimals == 0 {
        push_digits(line, magnitude, 1);
        return;
    }
    let scale = 10u64.pow(decimals);
    push_digits(line, magnitude / scale, 1);
    line.push(point);
    push_digits(line, magnitude % scale, decimals as usize);
}

/// The digits of `value`, at least `width` of them.
fn push_digits(line: &mut Vec<u8>, mut value: u64, width: usize) {
    let mut digits = [b'0'; 20];
    let mut first = digits.len();
    while value > 0 {
        first -= 1;
        digits[first] = b'0' + (value % 10) as u8;
        value /= 10;
    }
    line.extend_from_slice(&digits[first.min(digits.len() - width)..]);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decimal(value: i64, decimals: u32) -> String {
        let mut line = Vec::new();
        push_decimal(&mut line, value, decimals, b'.');
        String::from_utf8(line).expect("digits")
    }

    #[test]
    fn decimals_are_spelled_from_integers() {
        for (value, decimals, text) in [
            (0, 0, "0"),
            (0, 3, "0.000"),
            (-1, 3, "-0.001"),
            (1_234_567, 3, "1234.567"),
            (-1_000, 0, "-1000"),
            (i64::MIN, 9, "-9223372036.854775808"),
            (i64::MAX, 12, "9223372.036854775807"),
        ] {
            assert_eq!(decimal(value, decimals), text);
        }
        let mut line = Vec::new();
        push_digits(&mut line, u64::MAX, 1);
        assert_eq!(line, b"18446744073709551615");
    }

    #[test]
    fn row_instants_of_a_rate_are_rounded_down_from_the_exact_fraction() {
        let mut clock = RowClock::new((1_000_000, 3));
        for k in 0..10_000i64 {
            assert_eq!(clock.t, k * 1_000_000 / 3);
            clock.advance();
        }
    }
}
