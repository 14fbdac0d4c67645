//! `[[fault]]` and `[[disturbance]]` tables, checked: each kind has its own keys, others are refused.

use std::ops::Range;

use super::check::{Check, Checked};
use super::encoder::{Scale, SourceFault, SourceFaultKind};
use super::file::{self, Text};
use super::motion::Disturbance;
use super::planted::{Planted, PlantedKind};
use super::scenario::{Gap, Scenario};
use super::units::{self, Order};

/// The optional keys of a table by name, to find the ones its kind does not know.
type Keys<'t> = [(&'static str, &'t Option<Text>)];

const FAULT_KINDS: &str = "stuck, jump, lost-counts, reversed, drift, slip, dropped, latency, invalid or gap";

impl Check<'_> {
    /// Adds a fault to the scenario and to its planted facts.
    pub(super) fn fault(&self, fault: &file::Fault, scenario: &mut Scenario) -> Checked<()> {
        let keys = [
            ("source", &fault.source),
            ("until", &fault.until),
            ("by", &fault.by),
            ("over", &fault.over),
            ("rate", &fault.rate),
            ("speed", &fault.speed),
            ("to", &fault.to),
        ];
        let kind_name = fault.kind.get_ref().as_str();
        let (kind, known): (PlantedKind, &[&str]) = match kind_name {
            "stuck" => (PlantedKind::Stuck, &["source", "until"]),
            "jump" => (PlantedKind::Jump, &["source", "until", "by"]),
            "lost-counts" => (PlantedKind::LostCounts, &["source", "until", "rate"]),
            "reversed" => (PlantedKind::Reversed, &["source", "until"]),
            "drift" => (PlantedKind::Drift, &["source", "until", "speed"]),
            "slip" => (PlantedKind::Slip, &["source", "by", "over"]),
            "dropped" => (PlantedKind::Dropped, &["source", "until"]),
            "latency" => (PlantedKind::Latency, &["source", "until", "to"]),
            "invalid" => (PlantedKind::Invalid, &["source", "until"]),
            "gap" => (PlantedKind::Gap, &["until"]),
            other => {
                return self.error(
                    fault.kind.span(),
                    format!("`{other}` is no kind of fault"),
                    format!("use {FAULT_KINDS}"),
                );
            }
        };
        self.only(&keys, known, kind_name)?;
        let need = |key| self.key(&keys, key, kind_name, fault.kind.span());
        let at = self.instant(&fault.at)?;
        let mut until = self.until(fault.until.as_ref(), at)?;
        let fact = scenario.planted.len();
        if kind == PlantedKind::Gap {
            need("until")?;
            scenario.gaps.push(Gap { at, until, fact });
            scenario.plant(kind, None, at, Some(until));
            return Ok(());
        }

        let source_text = need("source")?;
        let source = match source_text.get_ref().as_str() {
            "a" => 0,
            "b" => 1,
            other => {
                let kind = (kind, fault.kind.span());
                if self.line_fault(source_text, kind, (at, until), scenario)? {
                    return Ok(());
                }
                return self.error(
                    source_text.span(),
                    format!("`{other}` is no source"),
                    "write \"a\" or \"b\", or the column of a line of an [[analogue]]",
                );
            }
        };
        let model = &scenario.encoders[source];
        let effect = match kind {
            PlantedKind::Jump => SourceFaultKind::Jump { by: self.effective(need("by")?, Order::Position)? },
            PlantedKind::LostCounts => {
                if matches!(model.scale, Scale::Position { .. }) {
                    let message = "a source with `column_unit` has no counts to lose";
                    return self.error(fault.kind.span(), message, "give the source a counter or use `slip`");
                }
                SourceFaultKind::LostCounts { rate: self.fraction(need("rate")?)? }
            }
            PlantedKind::Reversed => SourceFaultKind::Reversed,
            PlantedKind::Drift => {
                SourceFaultKind::Drift { speed: self.effective(need("speed")?, Order::Speed)? }
            }
            PlantedKind::Slip => {
                let by = self.effective(need("by")?, Order::Position)?;
                until = at + self.time_above_zero(need("over")?)?;
                SourceFaultKind::Slip { by }
            }
            PlantedKind::Dropped => {
                if at == 0 && !model.sparse {
                    let message = "the first reading cannot be dropped: there is none before it to hold";
                    return self.error(
                        fault.at.span(),
                        message,
                        "drop later readings, or set `sparse = true`",
                    );
                }
                SourceFaultKind::Dropped
            }
            PlantedKind::Latency => {
                let text = need("to")?;
                let to = self.time(text)?;
                if model.capture.is_some() && to < i64::from(model.jitter) {
                    let message = "the latency falls below the jitter of a source with a capture time";
                    return self.error(text.span(), message, "write a latency of at least the jitter");
                }
                SourceFaultKind::Latency { to }
            }
            PlantedKind::Invalid => {
                if model.valid.is_none() {
                    let message = "the source has no `valid_column` to show it";
                    return self.error(fault.kind.span(), message, "add `valid_column` to the encoder");
                }
                SourceFaultKind::Invalid
            }
            _ => SourceFaultKind::Stuck,
        };
        let column = model.column.clone();
        scenario.faults[source].push(SourceFault { kind: effect, at, until, fact });
        scenario.plant(kind, Some(column), at, (until < i64::MAX).then_some(until));
        Ok(())
    }

    /// Adds a disturbance of the true motion.
    pub(super) fn disturbance(&self, entry: &file::Disturbance, scenario: &mut Scenario) -> Checked<()> {
        let keys = [
            ("until", &entry.until),
            ("by", &entry.by),
            ("over", &entry.over),
            ("amplitude", &entry.amplitude),
            ("frequency", &entry.frequency),
        ];
        let name = entry.kind.get_ref().as_str();
        let need = |key| self.key(&keys, key, name, entry.kind.span());
        let at = self.instant(&entry.at)?;
        match name {
            "creep" => {
                self.only(&keys, &["by", "over"], name)?;
                let by = self.effective(need("by")?, Order::Position)?;
                let over = self.time_above_zero(need("over")?)?;
                scenario.truth.disturbances.push(Disturbance::Creep { at, by, over });
                scenario.plant(PlantedKind::Creep, None, at, Some(at + over));
            }
            "vibration" => {
                self.only(&keys, &["until", "amplitude", "frequency"], name)?;
                let until = self.until(entry.until.as_ref(), at)?;
                let amplitude = self.above_zero(need("amplitude")?, Order::Position)?;
                let text = need("frequency")?;
                let frequency = self.place(text, units::frequency(text.get_ref()))?;
                if frequency <= 0.0 {
                    return self.error(
                        text.span(),
                        "the frequency is not above zero",
                        "write one above zero",
                    );
                }
                let vibration = Disturbance::Vibration { at, until, amplitude, frequency };
                scenario.truth.disturbances.push(vibration);
                scenario.plant(PlantedKind::Vibration, None, at, (until < i64::MAX).then_some(until));
            }
            other => {
                return self.error(
                    entry.kind.span(),
                    format!("`{other}` is no kind of disturbance"),
                    "use creep or vibration",
                );
            }
        }
        Ok(())
    }

    /// Refuses the keys that a kind does not know.
    fn only(&self, keys: &Keys<'_>, known: &[&str], kind: &str) -> Checked<()> {
        for (key, value) in keys {
            if !known.contains(key) {
                self.unwanted(value.as_ref(), key, &format!("`{kind}` does not use it"))?;
            }
        }
        Ok(())
    }

    fn key<'t>(&self, keys: &Keys<'t>, key: &str, kind: &str, span: Range<usize>) -> Checked<&'t Text> {
        let value = keys.iter().find(|(name, _)| *name == key).and_then(|(_, value)| value.as_ref());
        self.needed(value, span, key, &format!("`{kind}` needs it"))
    }

    /// A ratio above 0 and up to 1.
    fn fraction(&self, text: &Text) -> Checked<f64> {
        let ratio = self.place(text, units::ratio(text.get_ref()))?;
        if ratio > 0.0 && ratio <= 1.0 {
            return Ok(ratio);
        }
        self.error(
            text.span(),
            format!("`{}` is not within 0 to 100 %", text.get_ref()),
            "write 0 % to 100 %",
        )
    }
}

impl Scenario {
    /// Notes a fact, on the time axis of the trace.
    pub(super) fn plant(&mut self, kind: PlantedKind, column: Option<String>, at: i64, until: Option<i64>) {
        let shift = self.output.start_time;
        let until_ns = until.map(|until| until.saturating_add(shift));
        self.planted.push(Planted { kind, column, at_ns: at + shift, until_ns, first_row_ns: None });
    }
}
