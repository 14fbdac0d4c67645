//! The speed against its limits in characters, for a terminal.

use super::curve::{Curve, Piece, Style};
use super::{MarkKind, Picture, ticks};
use crate::seal::{cut, width};

/// The most columns of a line.
const COLUMNS: usize = 80;
/// Lines of the panel itself.
const LINES: usize = 10;
/// Before everything.
const INDENT: usize = 2;

/// What is drawn with.
struct Pens {
    side: char,
    corner: char,
    floor: char,
    tick: char,
    limit: char,
    demand: char,
    trip: char,
    both: char,
}

const PLAIN: Pens =
    Pens { side: '|', corner: '+', floor: '-', tick: '+', limit: '-', demand: ':', trip: '|', both: '*' };
const BLOCKS: Pens = Pens {
    side: '\u{2502}',
    corner: '\u{2514}',
    floor: '\u{2500}',
    tick: '\u{252c}',
    limit: '\u{2504}',
    demand: '\u{250a}',
    trip: '\u{2503}',
    both: '\u{2588}',
};

/// The panel, line by line from above.
struct Grid {
    cells: Vec<Vec<char>>,
    columns: usize,
    view: (u64, u64),
    range: (f64, f64),
}

impl Grid {
    fn new(columns: usize, view: (u64, u64), range: (f64, f64)) -> Self {
        Self { cells: vec![vec![' '; columns]; LINES], columns, view, range }
    }

    /// The column of an instant in view.
    fn column(&self, at: u64) -> Option<usize> {
        let (from, to) = self.view;
        if at < from || at > to {
            return None;
        }
        let part = u128::from(at - from) * self.columns as u128 / u128::from((to - from).max(1));
        Some(usize::try_from(part).unwrap_or(0).min(self.columns - 1))
    }

    /// The line of a value; one out of the range is at its end.
    fn line(&self, value: f64) -> usize {
        let (low, high) = self.range;
        let part = ((high - value) / (high - low)).clamp(0.0, 1.0);
        ((part * LINES as f64) as usize).min(LINES - 1)
    }

    fn column_of(&mut self, at: u64, pen: char) {
        let Some(column) = self.column(at) else { return };
        for line in &mut self.cells {
            line[column] = pen;
        }
    }

    fn fill(&mut self, column: usize, (low, high): (f64, f64), pen: &dyn Fn(char) -> char) {
        for line in self.line(high)..=self.line(low) {
            let cell = &mut self.cells[line][column];
            *cell = pen(*cell);
        }
    }

    fn curve(&mut self, curve: &Curve, pen: &dyn Fn(char) -> char) {
        for run in &curve.runs {
            let mut before: Option<&Piece> = None;
            for piece in run {
                // What reaches over an end of the view ends there.
                let (first, last) = (piece.first.max(self.view.0), piece.last.min(self.view.1));
                if let (Some(from), Some(to)) = (self.column(first), self.column(last))
                    && first <= last
                {
                    for column in from..=to {
                        self.fill(column, (piece.low, piece.high), pen);
                    }
                    if let Some(before) = before {
                        self.between(before, piece, curve.style == Style::Limit, pen);
                    }
                }
                before = Some(piece);
            }
        }
    }

    /// Columns that no frame falls into.
    fn between(&mut self, one: &Piece, other: &Piece, is_step: bool, pen: &dyn Fn(char) -> char) {
        let (Some(from), Some(to)) = (self.column(one.last), self.column(other.first)) else { return };
        let middle = |piece: &Piece| f64::midpoint(piece.low, piece.high);
        for column in from + 1..to {
            let part = if is_step { 0.0 } else { (column - from) as f64 / (to - from) as f64 };
            let value = middle(one) + part * (middle(other) - middle(one));
            self.fill(column, (value, value), pen);
        }
    }
}

impl Picture {
    /// In lines of at most 80 columns. `with_blocks`: the terminal has more than ASCII.
    #[must_use]
    pub fn in_text(&self, with_blocks: bool) -> String {
        let pens = if with_blocks { &BLOCKS } else { &PLAIN };
        let said = self.said.first().map_or("", String::as_str);
        let mut out = format!("  {}\n", cut(said, COLUMNS - INDENT));
        let Some(panel) = self.panels.first().filter(|panel| panel.title == "Speed") else {
            return out + "    no speed to draw: none is known around it\n";
        };
        let labels = ticks::values(panel.range, 6);
        let wide = labels.iter().map(|(_, label)| width(label)).max().unwrap_or(0);
        let columns = COLUMNS.saturating_sub(INDENT + wide + 2).max(10);
        let mut grid = Grid::new(columns, self.view, panel.range);
        let mut has = (false, false);
        for mark in &self.marks {
            match mark.kind {
                MarkKind::Demand => {
                    has.0 = true;
                    grid.column_of(mark.at, pens.demand);
                }
                MarkKind::Tripped => {
                    has.1 = true;
                    grid.column_of(mark.at, pens.trip);
                }
                MarkKind::Crossed | MarkKind::Other => {}
            }
        }
        for curve in &panel.curves {
            match curve.style {
                Style::Limit => grid.curve(curve, &|_| pens.limit),
                Style::A => grid.curve(curve, &|_| 'a'),
                Style::B => {
                    grid.curve(curve, &|cell| if cell == 'a' || cell == pens.both { pens.both } else { 'b' });
                }
            }
        }
        let mut key = format!("{}; a, b: channels, {} both; {} limit", panel.unit, pens.both, pens.limit);
        if has.0 {
            key += &format!("; {} demand", pens.demand);
        }
        if has.1 {
            key += &format!("; {} {}", pens.trip, self.happened());
        }
        if let Some(beyond) = panel.beyond {
            key += &format!("; a limit of {beyond:.1} is out of it");
        }
        out += &format!("  {}\n", cut(&key, COLUMNS - INDENT));
        for (number, cells) in grid.cells.iter().enumerate() {
            let label = labels.iter().rev().find(|(value, _)| grid.line(*value) == number);
            let label = label.map_or("", |(_, label)| label);
            let line: String = cells.iter().collect();
            out += format!("  {label:>wide$} {}{line}", pens.side).trim_end();
            out.push('\n');
        }
        out + &self.floor(&grid, wide, pens)
    }

    fn happened(&self) -> &'static str {
        let mark = self.marks.iter().find(|mark| mark.kind == MarkKind::Tripped);
        match mark.map(|mark| mark.name.as_str()) {
            Some(name) if name.starts_with("fault") => "fault",
            Some("complete at") => "complete",
            _ => "trip",
        }
    }

    /// The axis of time, with some times under it.
    fn floor(&self, grid: &Grid, wide: usize, pens: &Pens) -> String {
        let at = |now: u64| i128::from(now) + self.origin_ns;
        let times = ticks::times(at(self.view.0), at(self.view.1), 5);
        let mut line = vec![pens.floor; grid.columns];
        let mut under = String::new();
        let left = INDENT + wide + 2;
        for (time, label) in &times.ticks {
            let now = u64::try_from(time - self.origin_ns).ok();
            let Some(column) = now.and_then(|now| grid.column(now)) else { continue };
            line[column] = pens.tick;
            let begin = (left + column).saturating_sub(label.len() / 2);
            // One that would touch the one before, or reach beyond the line, is left out.
            if begin > under.len() && begin + label.len() + 2 <= COLUMNS || under.is_empty() {
                under += &" ".repeat(begin - under.len());
                under += label;
            }
        }
        let unit = match times.base_s {
            None => " s".to_owned(),
            Some(base) => format!(" s after {base} s"),
        };
        let line: String = line.into_iter().collect();
        let mut out = format!("  {:wide$} {}{line}\n", "", pens.corner);
        if under.len() + unit.len() <= COLUMNS {
            out += &format!("{under}{unit}\n");
        } else {
            out += &format!("{under}\n{:wide$}   {unit}\n", "");
        }
        out
    }
}
