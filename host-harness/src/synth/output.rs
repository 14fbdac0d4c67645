//! The `[output]` table: columns, their order and how numbers are spelled.

use std::ops::Range;

use toml::Spanned;

use super::check::{Check, Checked};
use super::encoder::{EncoderModel, TimeUnit};
use super::file;
use super::input::InputModel;

/// How the rows are spelled.
#[derive(Debug, Clone)]
pub(super) struct OutputModel {
    pub(super) columns: Vec<(String, Column)>,
    pub(super) time_unit: TimeUnit,
    pub(super) time_decimals: u32,
    /// Time of the first row, in nanoseconds.
    pub(super) start_time: i64,
    pub(super) delimiter: u8,
    pub(super) point: u8,
}

/// What a column holds; sources are 0 for A and 1 for B.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Column {
    Time,
    Reading(usize),
    Captured(usize),
    Valid(usize),
    Input(usize),
    /// An analogue value, and its line.
    Analogue(usize, usize),
    /// The validity of the same.
    AnalogueValid(usize, usize),
}

impl Check<'_> {
    /// Everything of `[output]` but the columns, which are known later.
    pub(super) fn output(&self, file: &file::Output, row_period: i64) -> Checked<OutputModel> {
        let time_unit = file.time_unit.as_ref().map_or(Ok(TimeUnit::Second), |text| self.time_unit(text))?;
        let most = time_unit.digits();
        let time_decimals = match &file.time_decimals {
            None => most,
            Some(decimals) => {
                let value = self.integer(decimals, 0..i64::from(most) + 1, "time_decimals")? as u32;
                if 10i64.pow(most - value) > row_period {
                    return self.error(
                        decimals.span(),
                        "rows follow each other faster than the last digit of the time",
                        "write more decimals: the time would stand still",
                    );
                }
                value
            }
        };
        let delimiter = match &file.delimiter {
            None => b',',
            Some(text) => match text.get_ref().as_str() {
                "," => b',',
                ";" => b';',
                "\t" | "tab" => b'\t',
                other => {
                    let message = format!("`{other}` is no delimiter");
                    return self.error(text.span(), message, "write \",\", \";\" or \"tab\"");
                }
            },
        };
        let point = match &file.decimal_comma {
            Some(comma) if *comma.get_ref() => {
                if delimiter == b',' {
                    let message = "a decimal comma needs another delimiter";
                    return self.error(comma.span(), message, "add `delimiter = \";\"`");
                }
                b','
            }
            _ => b'.',
        };
        Ok(OutputModel {
            columns: Vec::new(),
            time_unit,
            time_decimals,
            start_time: self.time_or_zero(file.start_time.as_ref())?,
            delimiter,
            point,
        })
    }

    /// The columns in their order: as listed, or time, source A, source B, inputs, analogue lines.
    pub(super) fn columns(
        &self,
        file: &file::ScenarioFile,
        encoders: &[EncoderModel; 2],
        inputs: &[InputModel],
        output: &mut OutputModel,
    ) -> Checked<()> {
        let mut known: Vec<(String, Column, Range<usize>)> = Vec::new();
        let mut add = |name: &str, column, span: Range<usize>| {
            self.column_name(name, span.clone(), output)?;
            if known.iter().any(|(other, ..)| other == name) {
                let message = format!("two columns are called `{name}`");
                return self.error(span, message, "give each column a name of its own");
            }
            known.push((name.to_owned(), column, span));
            Ok(())
        };
        match &file.output.time_column {
            Some(name) => add(name.get_ref(), Column::Time, name.span())?,
            None => add("time", Column::Time, 0..0)?,
        }
        let written = [&file.encoder.a, &file.encoder.b];
        for (source, (encoder, written)) in encoders.iter().zip(written).enumerate() {
            add(&encoder.column, Column::Reading(source), written.column.span())?;
            if let Some(name) = &written.capture_column {
                add(name.get_ref(), Column::Captured(source), name.span())?;
            }
            if let Some(name) = &written.valid_column {
                add(name.get_ref(), Column::Valid(source), name.span())?;
            }
        }
        for (index, (input, written)) in inputs.iter().zip(&file.input).enumerate() {
            add(&input.column, Column::Input(index), written.column.span())?;
        }
        for (index, written) in file.analogue.iter().enumerate() {
            for (line, name) in written.columns.get_ref().iter().enumerate() {
                add(name.get_ref(), Column::Analogue(index, line), name.span())?;
            }
            for (line, name) in written.valid_columns.iter().flat_map(Spanned::get_ref).enumerate() {
                add(name.get_ref(), Column::AnalogueValid(index, line), name.span())?;
            }
        }

        let Some(order) = &file.output.columns else {
            output.columns = known.into_iter().map(|(name, column, _)| (name, column)).collect();
            return Ok(());
        };
        for name in order {
            let Some(place) = known.iter().position(|(other, ..)| other == name.get_ref()) else {
                let again = output.columns.iter().any(|(other, _)| other == name.get_ref());
                let wrong = if again { "listed twice" } else { "no column of this scenario" };
                let names: Vec<&str> = known.iter().map(|(other, ..)| other.as_str()).collect();
                let advice = format!("still to be listed: {}", names.join(", "));
                return self.error(name.span(), format!("`{}` is {wrong}", name.get_ref()), advice);
            };
            let (name, column, _) = known.remove(place);
            output.columns.push((name, column));
        }
        match known.into_iter().next() {
            None => Ok(()),
            Some((name, _, span)) => {
                let advice = "add it to `columns` in [output]: every column is written";
                self.error(span, format!("`{name}` is not listed in the columns"), advice)
            }
        }
    }

    /// A name that needs no quotes in the header row.
    fn column_name(&self, name: &str, span: Range<usize>, output: &OutputModel) -> Checked<()> {
        let awkward = name.is_empty()
            || name.trim() != name
            || name.starts_with('#')
            || name.chars().any(|c| c.is_control() || c == '"' || c == char::from(output.delimiter));
        if awkward {
            let message = format!("`{name}` is no usable column name");
            return self.error(
                span,
                message,
                "write a name without delimiter, quotes, leading # or outer spaces",
            );
        }
        Ok(())
    }
}
