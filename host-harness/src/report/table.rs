//! The table of headrooms, whatever is in it: aligned, and no wider than a line where that can be.

use super::text::COLUMNS;
use crate::seal::{cut, width};

/// Columns of a name, where the others leave as many.
const NAME: usize = 34;

/// It is never cut to less.
const LEAST: usize = 12;

/// Columns of the others, at least.
const OTHERS: [usize; 4] = [2, 9, 16, 13];

/// Rows of a name and four figures, each a line; the first one is the head.
pub(super) fn table(rows: &[(String, [String; 4])]) -> String {
    let mut wide = OTHERS;
    for (_, figures) in rows {
        for (wide, figure) in wide.iter_mut().zip(figures) {
            *wide = (*wide).max(width(figure));
        }
    }
    let used = 2 + wide.iter().map(|wide| 1 + wide).sum::<usize>();
    let room = COLUMNS.saturating_sub(used).clamp(LEAST, NAME);
    let mut out = String::new();
    for (name, figures) in rows {
        let name = cut(name, room);
        out += "  ";
        out += &name;
        out += &" ".repeat(room.saturating_sub(width(&name)));
        for (figure, wide) in figures.iter().zip(wide) {
            out += &" ".repeat(1 + wide - width(figure));
            out += figure;
        }
        out.push('\n');
    }
    out
}
