//! Curves as paths: nothing between the least and the greatest of what falls into one column is left out.

use std::fmt::Write;

use super::curve::{Curve, Piece, Style};

/// From the time and the values of a panel to the place in the picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) view: (u64, u64),
    pub(super) range: (f64, f64),
    pub(super) left: f64,
    pub(super) width: f64,
    pub(super) top: f64,
    pub(super) height: f64,
}

impl Place {
    /// Where an instant is; what is out of view is out of the panel, and cut off there.
    pub(super) fn x(&self, at: u64) -> f64 {
        let from = |at: u64| if at >= self.view.0 { span(at - self.view.0) } else { -span(self.view.0 - at) };
        self.left + self.width * from(at) / span(self.view.1 - self.view.0).max(1.0)
    }

    /// Where a value is. What is far out of the panel is not far out of the picture, or some programs would not draw it.
    pub(super) fn y(&self, value: f64) -> f64 {
        let (low, high) = self.range;
        let part = (high - value) / (high - low).max(f64::MIN_POSITIVE);
        self.top + self.height * part.clamp(-4.0, 5.0)
    }
}

#[expect(clippy::cast_precision_loss, reason = "a place in a picture needs no more than 53 bits")]
const fn span(nanos: u64) -> f64 {
    nanos as f64
}

/// A column: from `left` to `right`, from `top` to `bottom`.
#[derive(Clone, Copy, Debug)]
struct Slab {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

/// What is no higher than a line is wide is drawn as one.
const THIN: f64 = 1.5;

impl Slab {
    fn is_thin(&self) -> bool {
        self.bottom - self.top < THIN
    }

    const fn middle(&self) -> f64 {
        f64::midpoint(self.top, self.bottom)
    }
}

/// The elements of a curve, and whether there are bands among them.
pub(super) fn curve(curve: &Curve, place: &Place) -> (String, bool) {
    let (mut lines, mut bands) = (String::new(), String::new());
    for run in &curve.runs {
        let slabs = slabs(run, place, curve.style == Style::Limit);
        let mut from = 0;
        while from < slabs.len() {
            let is_thin = slabs[from].is_thin();
            let rest = &slabs[from..];
            let to = from + rest.iter().position(|slab| slab.is_thin() != is_thin).unwrap_or(rest.len());
            if is_thin {
                // A line goes on into the band beside it.
                let before = from.checked_sub(1).and_then(|before| slabs.get(before));
                let points = points(&slabs[from..to], before, slabs.get(to));
                line(&mut lines, &points, curve.style == Style::Limit);
            } else {
                band(&mut bands, &slabs[from..to]);
            }
            from = to;
        }
    }
    let (colour, dash, width) = match curve.style {
        Style::A => ("#0072b2", "", 1.8),
        Style::B => ("#d55e00", " stroke-dasharray=\"7 4\"", 1.8),
        Style::Limit => ("#222", " stroke-dasharray=\"2 3\"", 1.4),
    };
    let mut out = String::new();
    if !bands.is_empty() {
        let fill = match curve.style {
            Style::A => "fill=\"#0072b2\" fill-opacity=\"0.45\"",
            Style::B => "fill=\"url(#b)\"",
            Style::Limit => "fill=\"#222\" fill-opacity=\"0.25\"",
        };
        let _ = writeln!(out, "<path {fill} stroke=\"{colour}\" stroke-width=\"0.8\" d=\"{bands}\"/>");
    }
    if !lines.is_empty() {
        let _ = writeln!(
            out,
            "<path fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\" stroke-linejoin=\"round\"{dash} d=\"{lines}\"/>"
        );
    }
    (out, !bands.is_empty())
}

/// A column for each piece; where there are more of them than columns of pixels, one for each of those. A limit is mostly level, and is
/// drawn frame by frame: a jump of it is no band.
fn slabs(run: &[Piece], place: &Place, is_limit: bool) -> Vec<Slab> {
    let slab = |piece: &Piece| Slab {
        left: place.x(piece.first),
        right: place.x(piece.last),
        top: place.y(piece.high),
        bottom: place.y(piece.low),
    };
    let one_each: Vec<Slab> = run.iter().map(slab).collect();
    let (Some(first), Some(last)) = (one_each.first(), one_each.last()) else { return one_each };
    if is_limit || (one_each.len() as f64) < 2.0 * (last.right - first.left).max(1.0) {
        return one_each;
    }
    let mut joined: Vec<Slab> = Vec::new();
    for slab in one_each {
        match joined.last_mut() {
            Some(open) if slab.left - open.left < 1.0 => {
                open.right = slab.right;
                open.top = open.top.min(slab.top);
                open.bottom = open.bottom.max(slab.bottom);
            }
            _ => joined.push(slab),
        }
    }
    joined
}

fn points(slabs: &[Slab], before: Option<&Slab>, after: Option<&Slab>) -> Vec<(f64, f64)> {
    let mut points: Vec<(f64, f64)> = before.map(|slab| (slab.right, slab.middle())).into_iter().collect();
    for slab in slabs {
        points.push((slab.left, slab.middle()));
        if slab.right - slab.left > 0.01 {
            points.push((slab.right, slab.middle()));
        }
    }
    points.extend(after.map(|slab| (slab.left, slab.middle())));
    // A point by itself is a dash of its own.
    if let [(x, y)] = points[..] {
        points.push((x + 1.5, y));
    }
    points
}

fn line(out: &mut String, points: &[(f64, f64)], is_step: bool) {
    let mut last: Option<f64> = None;
    for (place, &(x, y)) in points.iter().enumerate() {
        // What stays as it is is one line, and keeps its dashes.
        let is_same = |other: Option<&(f64, f64)>| other.is_some_and(|other| (other.1 - y).abs() < 0.01);
        let is_inside = place > 0 && is_same(points.get(place - 1)) && is_same(points.get(place + 1));
        if is_inside {
            continue;
        }
        let _ = match last {
            None => write!(out, "M{x:.2} {y:.2}"),
            Some(before) if is_step && (before - y).abs() >= 0.01 => {
                write!(out, "L{x:.2} {before:.2}L{x:.2} {y:.2}")
            }
            Some(_) => write!(out, "L{x:.2} {y:.2}"),
        };
        last = Some(y);
    }
}

fn band(out: &mut String, slabs: &[Slab]) {
    // A column that is one frame wide has to be seen.
    let right = |slab: &Slab| slab.right.max(slab.left + 0.5);
    for (place, slab) in slabs.iter().enumerate() {
        let begin = if place == 0 { 'M' } else { 'L' };
        let _ = write!(out, "{begin}{:.2} {top:.2}L{:.2} {top:.2}", slab.left, right(slab), top = slab.top);
    }
    for slab in slabs.iter().rev() {
        let _ = write!(out, "L{:.2} {low:.2}L{:.2} {low:.2}", right(slab), slab.left, low = slab.bottom);
    }
    out.push('Z');
}
