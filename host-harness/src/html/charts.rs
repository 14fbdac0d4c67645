//! What the scripts of a page are told: the numbers, and what they are of.

use monitor_core::{Channel, Instant};
use serde::Serialize;

use super::encode::{numbers, packed, step_of};
use super::marked::Marked;
use super::{escape, in_script};
use crate::explain::Explanation;
use crate::plot::{LaneKind, Plot, Series};
use crate::replay::{Outcome, TripRule};
use crate::report::{Figures, Report, rule};
use crate::setup::Setup;

#[derive(Serialize)]
struct Meta {
    unit: &'static str,
    /// The first frame on the clock of the trace, in ns.
    first_ns: String,
    /// To the last frame, in seconds.
    span: f64,
    series: Vec<SeriesMeta>,
    lanes: Vec<LaneMeta>,
    stretches: Vec<StretchMeta>,
    decided: Vec<DecidedMeta>,
    analogues: Vec<AnalogueMeta>,
    /// What is tolerated between the channels, of their positions and of their speeds.
    tolerance: Option<f64>,
    speed_tolerance: Option<f64>,
    #[serde(flatten)]
    marked: Marked,
}

#[derive(Serialize)]
struct SeriesMeta {
    name: String,
    label: String,
    unit: String,
    step: f64,
}

#[derive(Serialize)]
struct LaneMeta {
    kind: &'static str,
    label: String,
}

#[derive(Serialize)]
struct StretchMeta {
    per: u64,
    count: usize,
}

#[derive(Serialize)]
struct DecidedMeta {
    number: usize,
    label: String,
    unit: String,
    step: f64,
    count: usize,
}

#[derive(Serialize)]
struct AnalogueMeta {
    name: String,
    unit: &'static str,
    tolerance: f64,
}

/// Nanoseconds since the first frame as seconds.
#[expect(clippy::cast_precision_loss, reason = "a place in a picture needs no more than 53 bits")]
pub(super) fn seconds(nanos: u64) -> f64 {
    nanos as f64 / 1e9
}

const fn letter(channel: Channel) -> &'static str {
    match channel {
        Channel::A => "a",
        Channel::B => "b",
    }
}

fn label(series: Series, setup: &Setup) -> String {
    match series {
        Series::Speed(of) => format!("speed {}", letter(of)),
        Series::Position(of) => format!("position {}", letter(of)),
        Series::Apart => "a \u{2212} b".to_owned(),
        Series::Allowed => "allowed".to_owned(),
        Series::SpeedsApart => "speeds apart".to_owned(),
        Series::SpeedLow(of) => format!("speed allowed from, {}", letter(of)),
        Series::SpeedHigh(of) => format!("speed allowed to, {}", letter(of)),
        Series::WindowLow(of) => format!("window from, {}", letter(of)),
        Series::WindowHigh(of) => format!("window to, {}", letter(of)),
        Series::Analogue(place, of) => {
            let name = setup.analogues.get(place).map_or("", |analogue| &analogue.name);
            format!("{name} {}", letter(of))
        }
    }
}

fn lane_label(kind: LaneKind, name: &str) -> String {
    match kind {
        LaneKind::Line => format!("line {name}"),
        LaneKind::Input => format!("{name} demands"),
        LaneKind::Monitor => format!("{name}: active"),
        LaneKind::Violated => format!("{name}: violated"),
        LaneKind::Output => format!("{name}: true"),
        LaneKind::Fault => format!("{name} cannot be seen"),
        LaneKind::Permit | LaneKind::WarmingUp => name.to_owned(),
    }
}

/// The two script elements that hold the data.
pub(super) fn data(
    setup: &Setup,
    outcome: &Outcome,
    plot: &Plot,
    explanation: &Explanation,
) -> std::io::Result<String> {
    let first = outcome.first.map_or(0, Instant::as_nanos);
    let last = outcome.last.map_or(first, Instant::as_nanos);
    let packed = packed(plot);
    let steps: Vec<f64> = plot.decided.iter().map(step_of).collect();
    let trips = &outcome.trips.kept;
    let decided = plot.decided.iter().zip(&steps).filter_map(|(of, step)| {
        let trip = trips.get(of.trip)?;
        let figures = Figures::new(setup, trip.rule, &trip.evidence);
        let (name, _, channel) = rule(setup, trip.rule);
        let is_overrun = figures.quantity == "overrun";
        let (limit, unit) = (&figures.limit, figures.unit.clone());
        let what = match trip.rule {
            // What is drawn is what it begins with.
            TripRule::Monitor(..) if is_overrun => format!(
                "{name} on {channel}, speed against its limit, beyond which it may travel {:.4} {unit}",
                crate::explain::number(limit.to_bits())
            ),
            TripRule::Monitor(..) => format!("{name} on {channel}, {} against its limit", figures.quantity),
            TripRule::Analogue(_) => format!("{name}, how far its lines are apart against its tolerance"),
            _ => format!("{name}, {} against its tolerance", figures.quantity),
        };
        let unit = if is_overrun { format!("{}/s", setup.unit.symbol()) } else { unit };
        Some(DecidedMeta {
            number: of.trip + 1,
            label: what,
            unit: super::words::unit(&unit),
            step: *step,
            count: of.frames.len(),
        })
    });
    let stretches = std::iter::once(&plot.overview).chain(&plot.closeups);
    let meta = Meta {
        unit: setup.unit.symbol(),
        first_ns: (i128::from(first) + plot.origin_ns).to_string(),
        span: seconds(last.saturating_sub(first)),
        series: (packed.iter())
            .map(|of| SeriesMeta {
                name: of.series.name(),
                label: label(of.series, setup),
                unit: of.series.unit(setup),
                step: of.step,
            })
            .collect(),
        lanes: (plot.lanes.iter())
            .map(|lane| LaneMeta { kind: lane.kind.name(), label: lane_label(lane.kind, &lane.name) })
            .collect(),
        stretches: stretches.map(|of| StretchMeta { per: of.per(), count: of.buckets().len() }).collect(),
        decided: decided.collect(),
        analogues: (setup.analogues.iter())
            .map(|of| AnalogueMeta {
                name: of.name.clone(),
                unit: of.unit.symbol(),
                tolerance: crate::explain::number(of.tolerance.value.to_bits()),
            })
            .collect(),
        tolerance: (setup.discrepancy.as_ref())
            .map(|rule| crate::explain::number(rule.tolerance.value.to_bits())),
        speed_tolerance: setup
            .speed_discrepancy
            .as_ref()
            .map(|rule| crate::explain::number(rule.tolerance.value.to_bits())),
        marked: Marked::new(setup, outcome, explanation),
    };
    let json = serde_json::to_string(&meta).map_err(std::io::Error::other)?;
    let numbers = numbers(plot, &packed, &steps, first)?;
    Ok(format!(
        "<script type=\"application/json\" id=\"meta\">{}</script>\n\
         <script type=\"text/plain\" id=\"numbers\">{numbers}</script>\n",
        in_script(&json)
    ))
}

/// Where the charts go, with what moves them.
pub(super) fn frame(report: &Report) -> String {
    let button = |id: &str, text: &str, title: &str| {
        format!("<button type=\"button\" id=\"{id}\" title=\"{}\">{}</button>\n", escape(title), escape(text))
    };
    let mut out =
        String::from("<h2 id=\"motion\">The motion against its limits</h2>\n<div class=\"tools\">\n");
    out += &button("whole", "Whole trace", "Home");
    out += &button("closer", "Closer", "arrow up");
    out += &button("wider", "Wider", "arrow down");
    out += &button("left", "\u{2190}", "arrow left: earlier");
    out += &button("right", "\u{2192}", "arrow right: later");
    let kinds = [
        ("trip", "", !report.trips.is_empty(), ["p", "n"]),
        ("fault", "-fault", !report.faults.is_empty(), ["Shift and f", "f"]),
        ("stop", "-stop", !report.stops.is_empty(), ["Shift and s", "s"]),
    ];
    for (what, id, is_there, [before, after]) in kinds {
        if is_there {
            out += &button(&format!("previous{id}"), &format!("Previous {what}"), before);
            out += &button(&format!("next{id}"), &format!("Next {what}"), after);
        }
    }
    out += "<label><input type=\"checkbox\" id=\"limits\" checked> limits in view</label>\n";
    out += "<span>Shown: <output id=\"shown\"></output></span>\n</div>\n";
    let key = |text: &str, colour: &str, dash: &str| {
        format!(
            "<span><svg viewBox=\"0 0 38 8\" aria-hidden=\"true\"><line x1=\"0\" y1=\"4\" x2=\"38\" y2=\"4\" stroke=\"{colour}\" \
             stroke-width=\"2.5\" stroke-dasharray=\"{dash}\"/></svg> {text}</span>\n"
        )
    };
    out += "<p class=\"legend\">\n";
    out += &key("channel a", "var(--a)", "none");
    out += &key("channel b", "var(--b)", "7 4");
    out += &key("limit, tolerance, window", "var(--text)", "3 3");
    out += &key("\u{25bc} trip, with its number", "var(--strong)", "none");
    out += &key("\u{25c6} fault", "var(--fault)", "6 2 1 2");
    out += &key("\u{25a0} stop or planned withdrawal", "var(--text)", "none");
    out += &key("\u{00d7} the permit goes", "var(--text)", "1 3");
    out += "<span>where many frames share a place: all between their least and greatest, a filled, b hatched with dashed edges</span>\n";
    out += "<span>hatched across a chart: a fault, or a gap in the trace</span>\n</p>\n";
    out += "<p class=\"legend tool\">Drag to zoom, double click for the whole trace, Ctrl or Shift with the wheel to zoom; with the charts in \
            focus: arrows, + and \u{2212}, Home, Shift with arrows moves the cursor; n, f and s go to the next trip, fault and stop, \
            p and Shift with f or s to the one before.</p>\n";
    out += "<p id=\"said\" class=\"unseen\" aria-live=\"polite\"></p>\n";
    out += "<p id=\"failed\" class=\"verdict bad\" hidden></p>\n";
    out += "<noscript><p>The charts need a script, which this file has in itself; the tables do not.</p></noscript>\n";
    out += "<div class=\"plots\">\n<div id=\"charts\" tabindex=\"0\" role=\"group\" aria-label=\"Charts over time\"></div>\n";
    out += "<div class=\"reading\"><h3>At the cursor</h3><table aria-label=\"At the cursor\"><thead><tr><td></td>\
            <th scope=\"col\">a</th><th scope=\"col\">b</th></tr></thead><tbody id=\"readout\"></tbody></table></div>\n</div>\n";
    out
}
