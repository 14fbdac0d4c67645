//! The columns of delimited text.

use super::doubled::doubled;
use super::profile::Profile;
use super::survey::{ColumnSurvey, GroupSurvey, SCHEMA_VERSION, Survey, candidates, chosen, pairs};
use crate::trace::{Billionths, Compression, Input, Next, Plain, TraceError};

/// Reads all rows.
pub(super) fn survey(input: Input, time: Option<&str>) -> Result<Survey, TraceError> {
    let path = input.path.to_string();
    let mut plain = Plain::open(input)?;
    let names = plain.names().to_vec();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let given = time.and_then(|time| names.iter().position(|name| *name == time));
    let mut candidates = candidates(&names, None, given);
    let mut pairs = pairs(&names);
    let mut profiles = vec![Profile::default(); names.len()];
    let scale = Billionths::new();
    let (mut rows, mut bad_rows, mut first_bad_row) = (0, 0, None);
    loop {
        let row = rows + 1;
        let next = plain.next(|column, text| {
            let Some(number) = profiles[column].add_text(row, text) else { return };
            for candidate in candidates.iter_mut().filter(|candidate| candidate.column == column) {
                if let Some(time) = number.in_billionths(&scale) {
                    candidate.rate.add(row, time);
                }
            }
        })?;
        match next {
            Next::Row => {
                rows += 1;
                pairs.iter_mut().for_each(|pair| pair.add(pair.columns.map(|column| profiles[column].level)));
            }
            Next::Bad(error) => {
                bad_rows += 1;
                first_bad_row = first_bad_row.or_else(|| Some(error.of_row_left_out()));
            }
            Next::End => break,
        }
    }
    let unit = |column: usize| plain.units().and_then(|units| units.get(column)).map(String::as_str);
    let columns: Vec<ColumnSurvey> = (names.iter().zip(profiles).enumerate())
        .map(|(column, (name, profile))| ColumnSurvey::new(name, unit(column), profile))
        .collect();
    let compression = match plain.compression() {
        Compression::Plain => String::new(),
        packed => format!(", {packed}"),
    };
    let group = GroupSurvey {
        group: None,
        rows,
        bad_rows,
        first_bad_row,
        not_read: None,
        time: chosen(candidates, &columns),
        pairs: pairs.iter().filter_map(|pair| pair.report(&columns)).collect(),
        doubled: doubled(&names),
        columns,
    };
    Ok(Survey {
        schema: SCHEMA_VERSION,
        path,
        format: format!("text separated by {}{compression}", plain.delimiter()),
        groups: vec![group],
    })
}
