//! The results of a sweep as CSV, a row for each point.

use super::report::SweepReport;

/// A cell of CSV by RFC 4180.
fn cell(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// The points as CSV: a header with the names of the settings and of the figures, then a row for each. A figure that there is not is an
/// empty cell.
#[must_use]
pub fn csv(report: &SweepReport) -> String {
    const FIGURES: [&str; 18] = [
        "front",
        "as_written",
        "trips",
        "nuisance_trips",
        "missed_trips",
        "faults",
        "nuisance_faults",
        "missed_faults",
        "permit_losses",
        "reaction_s",
        "speed_at_torque_off",
        "travel",
        "travel_from_demand",
        "apart",
        "distance_mm",
        "latest_s",
        "latency_s",
        "refused",
    ];
    fn text(value: Option<impl ToString>) -> String {
        value.map_or_else(String::new, |value| value.to_string())
    }
    let heads = report.settings.iter().map(|setting| cell(&setting.setting));
    let mut out = heads.chain(FIGURES.map(str::to_owned)).collect::<Vec<_>>().join(",") + "\n";
    for point in &report.points {
        let all = point.all.as_ref();
        let counts = all.and_then(|all| all.counts.as_ref());
        let figures = [
            text(point.is_on_front.map(u8::from)),
            u8::from(point.is_as_written).to_string(),
            text(all.map(|all| all.trips)),
            text(counts.map(|counts| counts.nuisance_trips)),
            text(counts.map(|counts| counts.missed_trips)),
            text(all.map(|all| all.faults)),
            text(counts.map(|counts| counts.nuisance_faults)),
            text(counts.map(|counts| counts.missed_faults)),
            text(all.map(|all| all.permit_losses)),
            text(all.and_then(|all| all.reaction_s)),
            text(all.and_then(|all| all.speed_at_torque_off.as_ref())),
            text(all.and_then(|all| all.travel.as_ref())),
            text(all.and_then(|all| all.travel_from_demand.as_ref())),
            text(all.and_then(|all| all.apart.as_ref())),
            text(all.and_then(|all| all.distance_mm.as_ref())),
            text(all.and_then(|all| all.latest_s)),
            text(all.and_then(|all| all.latency_s)),
            point.refused.as_deref().map_or_else(String::new, cell),
        ];
        let values = point.values.iter().map(|value| cell(value));
        out += &(values.chain(figures).collect::<Vec<_>>().join(",") + "\n");
    }
    out
}
