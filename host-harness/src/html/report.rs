//! The report on the replay of one trace.

use super::charts::{data, frame};
use super::words::{at, title, unit, with_signs};
use super::{Cell, Table, escape, explained, html, number, page, text};
use crate::explain::{Guard, Told};
use crate::plot::Plot;
use crate::plural::plural;
use crate::replay::Outcome;
use crate::report::{CAUTION, Report, Seconds, VerdictReport};
use crate::setup::Setup;
use crate::sweep::Identity;

/// The most rows of one table; the JSON has more.
const LISTED: usize = 500;

/// What a report is made of.
#[derive(Debug)]
pub struct Sheet<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// Its file.
    pub setup_text: &'a str,
    /// What the replay came to.
    pub outcome: &'a Outcome,
    /// The same for programs.
    pub report: &'a Report,
    /// Why.
    pub told: &'a Told,
    /// What is drawn of it.
    pub plot: &'a Plot,
    /// What tells this trace from another one.
    pub identity: Identity,
}

/// The page.
///
/// # Errors
///
/// None that is known: of the packing of the numbers in memory.
pub fn report(sheet: &Sheet<'_>) -> std::io::Result<String> {
    let Sheet { setup, report, .. } = sheet;
    let mut body = sheet.head();
    let signs = |html: &str| with_signs(html, setup, sheet.setup_text, &report.trace.path);
    let told = sheet.told;
    body += &signs(&(explained::verdict(&told.first) + &explained::further(told)));
    body += &frame(report);
    body += &sheet.trips();
    body += &sheet.faults();
    body += &sheet.gaps();
    body += &signs(&explained::sections(&told.first));
    body += &sheet.others();
    body += &sheet.headroom();
    body += &sheet.evidence();
    body += &data(setup, sheet.outcome, sheet.plot, &told.first)?;
    Ok(page(&title(setup, &report.trace.path, &told.first), &body, true))
}

fn maybe(seconds: Option<Seconds>) -> String {
    seconds.map_or_else(|| "-".to_owned(), at)
}

fn more(listed: usize, left_out: u64) -> String {
    let hidden = listed.saturating_sub(LISTED) as u64 + left_out;
    if hidden == 0 {
        String::new()
    } else {
        format!("<p>... and {hidden} more; the JSON report has the first 10000.</p>\n")
    }
}

impl Sheet<'_> {
    fn head(&self) -> String {
        let Report { setup, trace, permit, verdict, .. } = self.report;
        let (word, class) = match verdict {
            VerdictReport::Clear => ("CLEAR: nothing tripped and nothing was faulted", "clear"),
            VerdictReport::Tripped => ("TRIPPED: a rule was broken, and took the permit", "tripped"),
            VerdictReport::Fault => ("FAULT: nothing tripped, but something was faulted", "faulted"),
        };
        let mut out = format!("<h1>{}</h1>\n<p>{}</p>\n", escape(&setup.title), escape(&trace.path));
        let left_out = match trace.skipped_rows {
            0 => String::new(),
            rows => format!(", with {rows} bad rows left out: the motion there is not known"),
        };
        out += &format!("<p class=\"verdict {class}\">{word}{left_out}</p>\n");
        out += &format!("<p class=\"caution\">{}</p>\n", escape(CAUTION));
        let lost = match (permit.given_at_s, permit.lost_at_s) {
            (None, _) => "never given".to_owned(),
            (Some(given), None) => format!("given at {} s, never lost", at(given)),
            (Some(given), Some(lost)) => {
                let last = if permit.at_last { "given again at the end" } else { "not given at the end" };
                let times = if permit.losses == 1 {
                    String::new()
                } else {
                    format!("{} times, first ", permit.losses)
                };
                format!("given at {} s, lost {times}at {} s, {last}", at(given), at(lost))
            }
        };
        let left_out = &self.report.left_out;
        let all = |listed: usize, left_out: u64| listed as u64 + left_out;
        let stops = match all(self.report.stops.len(), left_out.stops) {
            1 => "1 stop or planned withdrawal".to_owned(),
            many => format!("{many} stops and planned withdrawals"),
        };
        out += &format!(
            "<p>Permit: {lost}. {}, {}, {stops}.</p>\n",
            plural(all(self.report.trips.len(), left_out.trips), "trip"),
            plural(all(self.report.faults.len(), left_out.faults), "fault"),
        );
        out
    }

    fn trips(&self) -> String {
        let trips = &self.report.trips;
        if trips.is_empty() {
            return String::new();
        }
        let mut table = Table::new(
            "Trips",
            &[
                "#Trip",
                "Rule",
                "Kind",
                "Channel",
                "#Demand, s",
                "#Crossed, s",
                "#Tripped, s",
                "#Observed",
                "#Allowed",
                "#Beyond",
                "Unit",
                "Other channel",
            ],
        );
        for (place, trip) in trips.iter().take(LISTED).enumerate() {
            let other = match &trip.confirmed_by {
                Some(by) if by.after_s.0 == 0 => "at the same frame".to_owned(),
                Some(by) if by.after_s.0 > 0 => format!("{} ms later", crate::report::millis(by.after_s.0)),
                Some(by) => format!("{} ms before", crate::report::millis(-by.after_s.0)),
                None if trip.channel == "both" => "-".to_owned(),
                None => "never".to_owned(),
            };
            // On paper its number alone.
            let button = format!(
                "<span class=\"paper\">{0}</span><button type=\"button\" data-trip=\"{place}\" aria-pressed=\"false\" \
                 aria-label=\"Show trip {0} in the charts\">\u{25bc}{0}</button>",
                place + 1
            );
            let figures = |exact: &crate::report::Exact| {
                format!("{:.4}", exact.to_string().parse::<f64>().unwrap_or(f64::NAN))
            };
            table.row(&[
                html(button),
                text(&trip.monitor),
                text(&trip.kind),
                text(&trip.channel),
                number(at(trip.demand_s)),
                number(at(trip.crossed_s)),
                number(at(trip.tripped_s)),
                number(figures(&trip.observed)),
                number(figures(&trip.limit)),
                number(figures(&trip.excess)),
                text(unit(&trip.unit)),
                text(other),
            ]);
        }
        format!("<h2>Trips</h2>\n{}{}", table.end(), more(trips.len(), self.report.left_out.trips))
    }

    /// What shows a fault or a stop in the charts: a button with its sign and number; on paper those alone.
    fn jump(kind: &str, place: usize, what: &str) -> Cell {
        let sign = if kind == "fault" { "\u{25c6}" } else { "\u{25a0}" };
        let number = place + 1;
        html(format!(
            "<span class=\"paper\">{number}</span><button type=\"button\" data-{kind}=\"{place}\" aria-pressed=\"false\" \
             aria-label=\"Show {} in the charts\">{sign}{number}</button>",
            escape(what)
        ))
    }

    fn faults(&self) -> String {
        let faults = &self.report.faults;
        if faults.is_empty() {
            return String::new();
        }
        let mut table =
            Table::new("Faults", &["#Fault", "Of", "Kind", "#From, s", "#Until, s", "#Frames", "Reading"]);
        for (place, fault) in faults.iter().take(LISTED).enumerate() {
            let of = match (&fault.analogue, &fault.channel, &fault.input, &fault.monitor) {
                (Some(analogue), Some(line), ..) => format!("line {line} of {analogue}"),
                (_, Some(channel), _, Some(monitor)) => format!("channel {channel}, needed by {monitor}"),
                (_, Some(channel), ..) => format!("channel {channel}"),
                (_, None, Some(input), _) => format!("input {input}"),
                _ => "the clock".to_owned(),
            };
            let reading = fault.reading.as_ref().map_or_else(String::new, |reading| {
                let what = match (reading.count, &reading.position, &reading.value) {
                    (Some(count), ..) => count.to_string(),
                    (_, Some(position), _) => position.to_string(),
                    (_, _, Some(value)) => value.to_string(),
                    _ => "marked invalid".to_owned(),
                };
                format!("{what}, captured {} s", at(reading.captured_s))
            });
            // Of an input one frame tells of it; it lasts on.
            let (until, frames) = match fault.input {
                Some(_) => ("a reset".to_owned(), "-".to_owned()),
                None => (at(fault.until_s), fault.frames.to_string()),
            };
            table.row(&[
                Self::jump("fault", place, &format!("fault {} of {of} at {} s", place + 1, at(fault.at_s))),
                text(of),
                text(&fault.kind),
                number(at(fault.at_s)),
                number(until),
                number(frames),
                text(reading),
            ]);
        }
        format!("<h2>Faults</h2>\n{}{}", table.end(), more(faults.len(), self.report.left_out.faults))
    }

    /// Where the trace has no rows, in words: a chart hatches it, and a reader of the tables would not know.
    fn gaps(&self) -> String {
        /// The most that are listed; the JSON has more.
        const FIRST: usize = 20;
        let gaps = &self.report.trace.gaps;
        let all = gaps.len() as u64 + self.report.left_out.gaps;
        if all == 0 {
            return String::new();
        }
        let mut out = format!(
            "<h2>Gaps in the trace</h2>\n<p>{}: what the axis did there is not known.</p>\n<ul>\n",
            plural(all, "gap")
        );
        for gap in gaps.iter().take(FIRST) {
            out += &format!("<li>no row from {} s to {} s</li>\n", at(gap.from_s), at(gap.to_s));
        }
        out += "</ul>\n";
        if all > FIRST as u64 {
            out += &format!(
                "<p>... and {} more; the JSON report has the first 10000.</p>\n",
                all - FIRST as u64
            );
        }
        out
    }

    /// Stops, outputs and resets.
    fn others(&self) -> String {
        let Report { stops, outputs, resets, left_out, .. } = self.report;
        let mut out = String::new();
        if !stops.is_empty() {
            let mut table =
                Table::new("Stops", &["#Stop", "Monitor", "Kind", "Channel", "#Demanded, s", "#Complete, s"]);
            for (place, stop) in stops.iter().take(LISTED).enumerate() {
                let channel = stop.channel.as_deref().unwrap_or("-");
                table.row(&[
                    Self::jump(
                        "stop",
                        place,
                        &format!("stop {} of {} at {} s", place + 1, stop.monitor, at(stop.completed_s)),
                    ),
                    text(&stop.monitor),
                    text(&stop.kind),
                    text(channel),
                    number(at(stop.demand_s)),
                    number(at(stop.completed_s)),
                ]);
            }
            out += &format!(
                "<h2>Stops and planned withdrawals of the permit</h2>\n{}{}",
                table.end(),
                more(stops.len(), left_out.stops)
            );
        }
        if !outputs.is_empty() {
            let mut table = Table::new("Outputs", &["#At, s", "Output", "Kind", "Level"]);
            for output in outputs.iter().take(LISTED) {
                table.row(&[
                    number(at(output.at_s)),
                    text(&output.monitor),
                    text(&output.kind),
                    text(if output.on { "true" } else { "false" }),
                ]);
            }
            out += &format!("<h2>Outputs</h2>\n{}{}", table.end(), more(outputs.len(), left_out.outputs));
        }
        if !resets.is_empty() {
            let mut table = Table::new("Resets", &["#At, s", "Result"]);
            for reset in resets.iter().take(LISTED) {
                table.row(&[number(at(reset.at_s)), text(&reset.result)]);
            }
            out += &format!("<h2>Resets</h2>\n{}{}", table.end(), more(resets.len(), left_out.resets));
        }
        out
    }

    fn headroom(&self) -> String {
        let Report { monitors, discrepancy, speed_discrepancy, analogues, .. } = self.report;
        let mut table = Table::new(
            "How close everything came",
            &[
                "Rule",
                "Kind",
                "Channel",
                "#Active, s",
                "#Smallest headroom",
                "Unit",
                "#At, s",
                "#Frames beyond",
            ],
        );
        let shown = |exact: &Option<crate::report::Exact>| {
            exact.as_ref().map_or_else(
                || "never compared".to_owned(),
                |exact| format!("{:.4}", exact.to_string().parse::<f64>().unwrap_or(f64::NAN)),
            )
        };
        // Nothing is told by a row for each of them.
        let is_idle = |name: &str| {
            (monitors.iter().filter(|of| of.name == name))
                .all(|of| of.headroom.is_none() && of.exceeded_frames == 0)
        };
        for monitor in monitors.iter().filter(|of| !is_idle(&of.name)) {
            table.row(&[
                text(&monitor.name),
                text(&monitor.kind),
                text(&monitor.channel),
                number(at(monitor.active_s)),
                number(shown(&monitor.headroom)),
                text(unit(monitor.unit.as_deref().unwrap_or(""))),
                number(maybe(monitor.headroom_at_s)),
                number(monitor.exceeded_frames.to_string()),
            ]);
        }
        let apart =
            [("discrepancy", discrepancy.as_ref()), ("speed_discrepancy", speed_discrepancy.as_ref())];
        let of_lines = analogues.iter().map(|of| (of.name.as_str(), Some(&of.discrepancy)));
        for (name, of) in apart.into_iter().chain(of_lines) {
            let Some(of) = of else { continue };
            table.row(&[
                text(name),
                text("two channels"),
                text("both"),
                number("-"),
                number(shown(&of.headroom)),
                text(&of.unit),
                number(maybe(of.headroom_at_s)),
                number("-"),
            ]);
        }
        let mut idle: Vec<String> = Vec::new();
        for monitor in monitors.iter().filter(|of| is_idle(&of.name)) {
            let told = match monitor.active_s.0 {
                0 => format!("{} (never active)", monitor.name),
                _ => format!("{} (active for {} s)", monitor.name, at(monitor.active_s)),
            };
            if !idle.contains(&told) {
                idle.push(told);
            }
        }
        let idle = match idle.is_empty() {
            true => String::new(),
            false => format!("<p>Compared with no limit at any frame: {}.</p>\n", escape(&idle.join(", "))),
        };
        format!("<h2>How close everything came</h2>\n{}{idle}", table.end())
    }

    /// What a second person needs to check it.
    fn evidence(&self) -> String {
        let Report { setup, trace, .. } = self.report;
        let mut table = Table::new("What this is of", &["What", "Which"]);
        let mut row = |name: &str, value: String| table.row(&[text(name), text(value)]);
        row("trace", trace.path.clone());
        let Identity { bytes, crc32 } = self.identity;
        row("trace file", format!("{bytes} bytes, CRC-32 {crc32:08x}"));
        row(
            "frames",
            format!(
                "{} from {} s to {} s, longest period {} s",
                trace.frames,
                maybe(trace.first_s),
                maybe(trace.last_s),
                at(trace.longest_period_s)
            ),
        );
        row("setup", format!("{}, checksum {} of its effective values", setup.path, setup.checksum));
        row(
            "program",
            format!("cowitness {}, JSON report version {}", env!("CARGO_PKG_VERSION"), self.report.schema),
        );
        let mut out = format!("<h2>What this is of</h2>\n{}", table.end());
        if self.told.first.guard == Guard::Undecided {
            out += "<p>UNDECIDED: the trace does not tell whether the trip was right.</p>\n";
        }
        out += &format!(
            "<details>\n<summary>The setup as it is written</summary>\n<pre>{}</pre>\n</details>\n",
            escape(self.setup_text)
        );
        out += &format!(
            "<details>\n<summary>The explanation as text</summary>\n<pre>{}</pre>\n</details>\n",
            escape(&crate::explain::text(&self.told.first))
        );
        out
    }
}
