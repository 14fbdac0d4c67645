//! A picture as SVG. What comes from a trace or a setup is text in it, whatever it is.

use std::fmt::Write;

use super::elements::{Anchor, Svg, TEXT, WIDTH, escape, in_lines, short, width};
use super::lanes::{Bar, Row};
use super::paths::{Place, curve};
use super::ticks;
use super::{Mark, MarkKind, Panel, Picture};
use crate::report::CAUTION;

const LEFT: f64 = 76.0;
const RIGHT: f64 = 18.0;
const PANEL: f64 = 190.0;
/// Above a panel, for its title.
const HEAD: f64 = 24.0;
/// One lane with its name.
const LANE: f64 = 24.0;
/// Lines of names of marks.
const LEVELS: usize = 3;

/// The colours of Okabe and Ito and darker ones; each goes with a pattern of its own.
const TRIP: &str = "#b0006d";

/// A picture in the making, from the lowest layer to the uppermost one.
#[derive(Default)]
struct Layers {
    /// Hatched where nothing was seen.
    unseen: Svg,
    body: Svg,
    /// Lines across the panels.
    marks: Svg,
    /// What they do not cross out.
    titles: Svg,
}

impl Picture {
    /// It as SVG, a file by itself.
    #[must_use]
    pub fn svg(&self) -> String {
        let inner = WIDTH - LEFT - RIGHT;
        let mut time =
            Place { view: self.view, range: (0.0, 1.0), left: LEFT, width: inner, top: 0.0, height: 0.0 };
        let mut out = Layers::default();
        let names = self.names(&time);
        let levels = names.iter().filter_map(|name| name.level).max().map_or(0, |level| level + 1);
        let mut y = self.head(&mut out.body) + 6.0 + 13.0 * levels as f64;
        let top = y + HEAD - 4.0;
        let mut has_bands = false;
        for (place, panel) in self.panels.iter().enumerate() {
            y += HEAD;
            time = Place { range: panel.range, top: y, height: PANEL, ..time };
            has_bands |= self.panel(&mut out, panel, &time, place);
            y += PANEL;
        }
        for (from, to) in &self.unseen {
            let (left, right) = (time.x((*from).max(self.view.0)), time.x((*to).min(self.view.1)));
            let size = ((right - left).max(2.0), y - top - 4.0);
            out.unseen.bar((left, top + 4.0), size, "fill=\"url(#unseen)\"");
        }
        if !self.rows.is_empty() {
            y += HEAD;
            let title = "Inputs, monitors and the permit (light: on, active; dark: violated)";
            out.titles.title((LEFT, y - 7.0), title);
            for row in &self.rows {
                lane(&mut out, row, &time, y);
                y += LANE;
            }
            y += 3.0;
        }
        self.axis(&mut out.body, &time, y);
        for name in &names {
            name.draw(&mut out.marks, levels, (top, y));
        }
        y = self.legend(&mut out.body, y + 38.0, has_bands);
        self.whole(&out, y)
    }

    /// What it is of; how far down that reaches.
    fn head(&self, out: &mut Svg) -> f64 {
        let mut y = 26.0;
        out.text((12.0, y), 17.0, Anchor::Start, (TEXT, &self.title));
        y += 19.0;
        out.text((12.0, y), 12.0, Anchor::Start, ("#555", &self.trace));
        for line in &self.said {
            y += 17.0;
            out.text((12.0, y), 13.0, Anchor::Start, (TEXT, line));
        }
        y
    }

    /// One panel; whether it has bands.
    fn panel(&self, layers: &mut Layers, panel: &Panel, place: &Place, number: usize) -> bool {
        let out = &mut layers.body;
        let (right, bottom) = (place.left + place.width, place.top + place.height);
        let mut title = format!("{}, {}", panel.title, panel.unit);
        if let Some(beyond) = panel.beyond {
            let _ = write!(title, " (a limit of {beyond:.1} {} is out of the picture)", panel.unit);
        }
        layers.titles.title((place.left, place.top - 7.0), &title);
        for (value, label) in ticks::values(panel.range, 6) {
            let y = place.y(value);
            let is_zero = value.abs() < f64::MIN_POSITIVE;
            let colour = if is_zero { "stroke=\"#999\"" } else { "stroke=\"#ddd\"" };
            out.line((place.left, y), (right, y), colour);
            out.text((place.left - 6.0, y + 4.0), 11.0, Anchor::End, (TEXT, &label.replace('-', "\u{2212}")));
        }
        for (at, _) in self.times().ticks {
            if let Ok(at) = u64::try_from(at - self.origin_ns) {
                let x = place.x(at);
                out.line((x, place.top), (x, bottom), "stroke=\"#ddd\"");
            }
        }
        out.put(&format!(
            "<clipPath id=\"panel{number}\"><rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\"/></clipPath>",
            place.left, place.top, place.width, place.height
        ));
        out.put(&format!("<g clip-path=\"url(#panel{number})\">"));
        let mut has_bands = false;
        for one in &panel.curves {
            let (path, is_band) = curve(one, place);
            out.0 += &path;
            has_bands |= is_band;
        }
        out.put("</g>");
        out.bar(
            (place.left, place.top),
            (place.width, place.height),
            "fill=\"none\" stroke=\"#777\" stroke-width=\"0.8\"",
        );
        has_bands
    }

    fn times(&self) -> ticks::Times {
        let at = |now: u64| i128::from(now) + self.origin_ns;
        ticks::times(at(self.view.0), at(self.view.1), 8)
    }

    fn axis(&self, out: &mut Svg, time: &Place, y: f64) {
        let times = self.times();
        out.line((time.left, y), (time.left + time.width, y), "stroke=\"#777\" stroke-width=\"0.8\"");
        for (at, label) in &times.ticks {
            let Ok(at) = u64::try_from(at - self.origin_ns) else { continue };
            let x = time.x(at);
            out.line((x, y), (x, y + 5.0), "stroke=\"#777\"");
            out.text((x, y + 17.0), 11.0, Anchor::Middle, (TEXT, &label.replace('-', "\u{2212}")));
        }
        let title = match times.base_s {
            None => "Time of the trace, s".to_owned(),
            Some(base) => format!("Time of the trace, s after {base} s"),
        };
        out.text((time.left + time.width / 2.0, y + 32.0), 12.0, Anchor::Middle, (TEXT, &title));
    }

    /// The marks in order of time, and where each name has room.
    fn names(&self, time: &Place) -> Vec<Name> {
        let mut used = [f64::NEG_INFINITY; LEVELS];
        let mut marks: Vec<&Mark> = self.marks.iter().collect();
        marks.sort_by_key(|mark| mark.at);
        let mut names = Vec::with_capacity(marks.len());
        for mark in marks {
            let x = time.x(mark.at);
            let text = match mark.kind {
                MarkKind::Other => mark.name.clone(),
                _ => format!("{} {} s", mark.name, self.shown(mark.at)),
            };
            let wide = width(&text, 11.0);
            let is_left = x + wide + 6.0 > WIDTH;
            let begin = if is_left { x - wide } else { x };
            let level = used.iter().position(|used| *used < begin);
            if let Some(used) = level.and_then(|level| used.get_mut(level)) {
                *used = begin + wide + 10.0;
            }
            names.push(Name { x, kind: mark.kind, text, is_left, level });
        }
        names
    }

    /// An instant to a thousandth of what is in view: a crossing is worked out, and its last places say nothing.
    fn shown(&self, at: u64) -> String {
        let mut step = 1_i128;
        while step * 10_000 < i128::from(self.view.1 - self.view.0) {
            step *= 10;
        }
        let exact = i128::from(at) + self.origin_ns;
        let rounded = (exact + step / 2).div_euclid(step) * step;
        short(rounded)
    }

    /// What the lines are, and the caution; how far down that reaches.
    fn legend(&self, out: &mut Svg, mut y: f64, has_bands: bool) -> f64 {
        y += 16.0;
        let mut x = LEFT;
        let mut keys = vec![
            ("channel a", "stroke=\"#0072b2\" stroke-width=\"1.8\""),
            ("channel b", "stroke=\"#d55e00\" stroke-width=\"1.8\" stroke-dasharray=\"7 4\""),
            ("limit, or what is allowed", "stroke=\"#222\" stroke-width=\"1.4\" stroke-dasharray=\"2 3\""),
        ];
        if has_bands {
            keys.push((
                "all between the least and the greatest of some frames",
                "stroke=\"#0072b2\" stroke-width=\"8\" stroke-opacity=\"0.45\"",
            ));
        }
        if !self.unseen.is_empty() {
            keys.push(("a fault, or a gap", "stroke=\"url(#unseen)\" stroke-width=\"10\""));
        }
        for (name, style) in keys {
            let wide = 38.0 + width(name, 11.0);
            if x > LEFT && x + wide > WIDTH - RIGHT {
                x = LEFT;
                y += 17.0;
            }
            if name.starts_with("a fault") {
                // A pattern does not paint a level line in every program.
                out.bar(
                    (x, y - 9.0),
                    (32.0, 10.0),
                    "fill=\"url(#unseen)\" stroke=\"#777\" stroke-width=\"0.5\"",
                );
            } else {
                out.line((x, y - 4.0), (x + 32.0, y - 4.0), style);
            }
            out.text((x + 38.0, y), 11.0, Anchor::Start, (TEXT, name));
            x += wide + 22.0;
        }
        let caution = CAUTION.replace('\n', " ");
        for line in in_lines(&caution, 9.0, WIDTH - 24.0) {
            y += if y < 0.0 { 0.0 } else { 14.0 };
            out.text((12.0, y + 4.0), 9.0, Anchor::Start, ("#555", &line));
        }
        y + 14.0
    }

    fn whole(&self, layers: &Layers, height: f64) -> String {
        let mut description = self.said.join("; ");
        let at = |now: u64| short(i128::from(now) + self.origin_ns);
        let _ = write!(
            description,
            "; from {} s to {} s of the trace. Panels on one time axis: {}; what was on: {}.",
            at(self.view.0),
            at(self.view.1),
            self.panels.iter().map(|panel| panel.title.as_str()).collect::<Vec<_>>().join(", "),
            self.rows.iter().map(|row| row.label.as_str()).collect::<Vec<_>>().join(", "),
        );
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height:.0}\" viewBox=\"0 0 {WIDTH} {height:.0}\" \
             font-family=\"sans-serif\" role=\"img\" aria-labelledby=\"title desc\">\n\
             <title id=\"title\">{}</title>\n<desc id=\"desc\">{}</desc>\n\
             <defs>\n\
             <pattern id=\"b\" width=\"4\" height=\"4\" patternUnits=\"userSpaceOnUse\"><path d=\"M-1 5L5 -1M-1 1L1 -1M3 5L5 3\" \
             stroke=\"#d55e00\" stroke-width=\"1\"/></pattern>\n\
             <pattern id=\"some\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\"><path d=\"M-1 6L6 -1M-1 1L1 -1M4 6L6 4\" \
             stroke=\"#444\" stroke-width=\"1.2\"/></pattern>\n\
             <pattern id=\"unseen\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\"><path d=\"M-1 6L6 -1M-1 1L1 -1M4 8L8 4\" \
             stroke=\"#7a5c00\" stroke-width=\"0.8\" stroke-opacity=\"0.6\"/></pattern>\n\
             </defs>\n\
             <rect width=\"{WIDTH}\" height=\"{height:.0}\" fill=\"#fff\"/>\n{}{}{}{}</svg>\n",
            escape(&format!("{}: {}", self.title, self.trace)),
            escape(&description),
            layers.unseen.0,
            layers.body.0,
            layers.marks.0,
            layers.titles.0,
        )
    }
}

/// A mark with its name.
struct Name {
    x: f64,
    kind: MarkKind,
    text: String,
    /// Right of it there is no room.
    is_left: bool,
    /// The line of names that it stands in; none: there is no room.
    level: Option<usize>,
}

impl Name {
    /// A line across all panels, and the name above them.
    fn draw(&self, out: &mut Svg, levels: usize, (top, bottom): (f64, f64)) {
        let x = self.x;
        let (style, colour) = match self.kind {
            MarkKind::Demand => ("stroke=\"#555\" stroke-width=\"1.2\" stroke-dasharray=\"1 3\"", "#555"),
            MarkKind::Crossed => ("stroke=\"#222\" stroke-width=\"1.2\" stroke-dasharray=\"8 3 2 3\"", TEXT),
            MarkKind::Tripped => ("stroke=\"#b0006d\" stroke-width=\"1.8\"", TRIP),
            MarkKind::Other => ("stroke=\"#b0006d\" stroke-width=\"0.7\"", TRIP),
        };
        let Some(level) = self.level else { return out.line((x, top), (x, bottom), style) };
        let y = top - 22.0 - 13.0 * (levels.saturating_sub(level + 1)) as f64;
        out.line((x, y - 8.0), (x, bottom), style);
        let (at, anchor) = if self.is_left { (x - 3.0, Anchor::End) } else { (x + 3.0, Anchor::Start) };
        out.text((at, y), 11.0, anchor, (colour, &self.text));
    }
}

/// One lane: its name, and under it a bar where it is on.
fn lane(layers: &mut Layers, row: &Row, time: &Place, top: f64) {
    layers.titles.title((LEFT + 3.0, top + 10.0), &row.label);
    let out = &mut layers.body;
    let base = top + LANE - 2.0;
    out.line((LEFT, base), (LEFT + time.width, base), "stroke=\"#ddd\"");
    for segment in &row.segments {
        let (from, to) = (time.x(segment.from), time.x(segment.to));
        let (height, fill) = match (segment.bar, segment.is_whole) {
            (Bar::On, true) => (7.0, "fill=\"#bbb\" stroke=\"#666\" stroke-width=\"0.6\""),
            (Bar::Violated, true) => (5.0, "fill=\"#b0006d\""),
            (Bar::Fault, true) => (7.0, "fill=\"#7a5c00\""),
            (_, false) => (7.0, "fill=\"url(#some)\" stroke=\"#666\" stroke-width=\"0.6\""),
        };
        out.bar((from, base - 1.0 - height), ((to - from).max(1.0), height), fill);
    }
}
