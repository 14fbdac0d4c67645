//! An `[encoder.*]` table, checked.

use super::check::{Check, Checked};
use super::encoder::{Cycle, EccentricityModel, EncoderModel, Scale, TimeUnit};
use super::file;
use super::units::{self, Order};

/// What an encoder inherits from the rest of the scenario.
#[derive(Clone, Copy)]
pub(super) struct Surroundings {
    /// Position at the start of the trace.
    pub(super) start: f64,
    /// Row period rounded down, in nanoseconds.
    pub(super) row_period: i64,
    /// Unit of the time column.
    pub(super) time_unit: TimeUnit,
    /// Time of the first row.
    pub(super) start_time: i64,
}

impl Check<'_> {
    pub(super) fn encoder(&self, file: &file::Encoder, around: Surroundings) -> Checked<EncoderModel> {
        let latency = self.time_or_zero(file.latency.as_ref())?;
        let cycle = self.cycle(file)?;
        let interval = cycle.map_or(around.row_period, |cycle| cycle.period);
        let model = EncoderModel {
            column: file.column.get_ref().clone(),
            scale: self.scale(file)?,
            direction: if file.reversed { -1.0 } else { 1.0 },
            start: around.start,
            latency,
            jitter: self.jitter(file, interval, latency)?,
            cycle,
            sparse: file.sparse,
            noise: self.length_or_zero(file.noise.as_ref())?,
            scale_error: self.scale_error(file)?,
            eccentricity: self.eccentricity(file)?,
            backlash: self.length_or_zero(file.backlash.as_ref())?,
            compliance: self.compliance(file)?,
            capture: self.capture(file, around.time_unit)?,
            valid: file.valid_column.as_ref().map(|name| name.get_ref().clone()),
        };
        let first = cycle.map_or(0, |cycle| if cycle.phase > 0 { cycle.phase - cycle.period } else { 0 });
        let earliest = around.start_time + first - latency - i64::from(model.jitter);
        if let (Some(column), true) = (&file.capture_column, earliest < 0) {
            return self.error(
                column.span(),
                format!("the first capture time would lie {} ns before time zero", -earliest),
                format!(
                    "set `start_time` in [output] to at least \"{} ns\"",
                    i128::from(around.start_time) - i128::from(earliest)
                ),
            );
        }
        Ok(model)
    }

    fn scale(&self, file: &file::Encoder) -> Checked<Scale> {
        match (&file.unit_per_count, &file.column_unit) {
            (Some(unit_per_count), None) => {
                self.unwanted(file.decimals.as_ref(), "decimals", "a counter has none")?;
                let why = "a counter wraps";
                let bits =
                    self.needed(file.counter_bits.as_ref(), file.column.span(), "counter_bits", why)?;
                let bits = self.integer(bits, 8..65, "counter_bits")? as u32;
                let signed = file.signed.as_ref().is_some_and(|signed| *signed.get_ref());
                Ok(Scale::Counter {
                    unit_per_count: self.above_zero(unit_per_count, Order::Position)?,
                    bits,
                    start: self.start_count(file, bits, signed)?,
                    signed,
                })
            }
            (None, Some(unit)) => {
                let reason = "a column in units has no counter";
                self.unwanted(file.counter_bits.as_ref(), "counter_bits", reason)?;
                self.unwanted(file.start_count.as_ref(), "start_count", reason)?;
                self.unwanted(file.signed.as_ref(), "signed", reason)?;
                let why = "it sets the resolution of the column";
                let decimals = self.needed(file.decimals.as_ref(), unit.span(), "decimals", why)?;
                let decimals = self.integer(decimals, 0..13, "decimals")? as u32;
                let unit = self.place(unit, units::column_unit(unit.get_ref(), self.axis))?;
                // Exact: powers of ten up to 10^15 are whole numbers below 2^53.
                let steps_per_unit = 10u64.pow(decimals) as f64;
                let step = unit.0 / (unit.1 * steps_per_unit);
                Ok(Scale::Position { decimals, step })
            }
            (Some(both), Some(_)) => self.error(
                both.span(),
                "`unit_per_count` and `column_unit` exclude each other",
                "keep `unit_per_count` for a counter, `column_unit` for a column in units",
            ),
            (None, None) => self.error(
                file.column.span(),
                "the encoder has no resolution",
                "add `unit_per_count` and `counter_bits`, or `column_unit` and `decimals`",
            ),
        }
    }

    fn start_count(&self, file: &file::Encoder, bits: u32, signed: bool) -> Checked<u64> {
        let Some(start) = &file.start_count else { return Ok(0) };
        let value = match start.get_ref() {
            file::Count::Number(number) => Some(i128::from(*number)),
            file::Count::Digits(digits) => digits.parse::<i128>().ok(),
        };
        let span = 1i128 << bits;
        let (low, high) = if signed { (-span / 2, span / 2 - 1) } else { (0, span - 1) };
        match value {
            // The bit pattern: the bits above the counter's width are cut off again when it is written.
            Some(value) if (low..=high).contains(&value) => Ok(value as u64),
            _ => self.error(
                start.span(),
                format!("`start_count` does not fit a counter of {bits} bits"),
                format!("write a whole number from {low} to {high}, as a string above 2^63"),
            ),
        }
    }

    fn cycle(&self, file: &file::Encoder) -> Checked<Option<Cycle>> {
        let Some(text) = &file.period else {
            self.unwanted(file.phase.as_ref(), "phase", "it shifts the `period` of the readings")?;
            return Ok(None);
        };
        let period = self.time(text)?;
        if period < 1_000 {
            return self.error(text.span(), "the reading period is below 1 us", "write 1 us or more");
        }
        let phase = self.time_or_zero(file.phase.as_ref())?;
        match &file.phase {
            Some(text) if phase >= period => {
                self.error(text.span(), "the phase is not below the period", "write a phase below the period")
            }
            _ => Ok(Some(Cycle { period, phase })),
        }
    }

    fn jitter(&self, file: &file::Encoder, interval: i64, latency: i64) -> Checked<u32> {
        let Some(text) = &file.jitter else { return Ok(0) };
        let jitter = self.time(text)?;
        if jitter * 2 >= interval {
            return self.error(
                text.span(),
                "the jitter is not below half the time between readings",
                "lower it: samples would be taken out of order",
            );
        }
        if file.capture_column.is_some() && jitter > latency {
            return self.error(
                text.span(),
                "the jitter exceeds the latency of a source with a capture time",
                "raise `latency` to at least the jitter: no reading is captured after it arrives",
            );
        }
        match u32::try_from(jitter) {
            Ok(jitter) => Ok(jitter),
            Err(_) => self.error(text.span(), "the jitter is above 4.29 s", "lower it"),
        }
    }

    fn scale_error(&self, file: &file::Encoder) -> Checked<f64> {
        let Some(text) = &file.scale_error else { return Ok(0.0) };
        let error = self.place(text, units::ratio(text.get_ref()))?;
        if error.abs() < 1.0 {
            return Ok(error);
        }
        self.error(text.span(), "the scale error is 100 % or more", "write an error within +-100 %")
    }

    fn eccentricity(&self, file: &file::Encoder) -> Checked<Option<EccentricityModel>> {
        let Some(ecc) = &file.eccentricity else { return Ok(None) };
        let phase = match &ecc.phase {
            Some(text) => self.place(text, units::turns(text.get_ref()))?,
            None => 0.0,
        };
        Ok(Some(EccentricityModel {
            amplitude: self.above_zero(&ecc.amplitude, Order::Position)?,
            period: self.above_zero(&ecc.period, Order::Position)?,
            phase,
        }))
    }

    fn compliance(&self, file: &file::Encoder) -> Checked<f64> {
        let Some(compliance) = &file.compliance else { return Ok(0.0) };
        let by = self.effective(&compliance.by, Order::Position)?;
        Ok(by / self.above_zero(&compliance.per, Order::Acceleration)?)
    }

    fn capture(&self, file: &file::Encoder, time_unit: TimeUnit) -> Checked<Option<(String, TimeUnit)>> {
        let Some(column) = &file.capture_column else {
            self.unwanted(file.capture_unit.as_ref(), "capture_unit", "there is no `capture_column`")?;
            return Ok(None);
        };
        let unit = match &file.capture_unit {
            Some(text) => self.time_unit(text)?,
            None => time_unit,
        };
        Ok(Some((column.get_ref().clone(), unit)))
    }

    pub(super) fn time_unit(&self, text: &file::Text) -> Checked<TimeUnit> {
        match text.get_ref().as_str() {
            "s" => Ok(TimeUnit::Second),
            "ms" => Ok(TimeUnit::Millisecond),
            "us" | "µs" => Ok(TimeUnit::Microsecond),
            "ns" => Ok(TimeUnit::Nanosecond),
            other => self.error(text.span(), format!("`{other}` is no time unit"), "write s, ms, us or ns"),
        }
    }
}
