//! Text in pages of one length and width.

use super::printable::width;

/// Lines of every page: fits A4 and Letter at six lines an inch, with a margin.
pub const PAGE_LINES: usize = 60;
/// The most columns of a line.
pub const PAGE_WIDTH: usize = 80;

/// Lines that stay together, under a heading that is said again where a page begins among them.
pub(super) struct Block {
    /// No blank at its end.
    pub(super) heading: String,
    pub(super) lines: Vec<String>,
    /// Begins under its heading, which may be longer than the one said again.
    pub(super) opens: bool,
}

/// So many blocks stay with their heading: with one alone, a page would end in a value that the rest is torn from.
const TOGETHER: usize = 2;

/// Lines for each page but header and footer.
pub(super) fn pages(blocks: &[Block], room: usize) -> Vec<Vec<String>> {
    let mut pages = vec![Vec::new()];
    for (i, block) in blocks.iter().enumerate() {
        let used = pages.last().map_or(0, Vec::len);
        let gap = usize::from(block.opens && used > 0);
        if used > 0 && used + gap + needed(blocks.get(i..).unwrap_or_default(), room) > room {
            pages.push(again(block));
        } else if gap > 0 {
            push(&mut pages, room, block, String::new());
        }
        for line in &block.lines {
            push(&mut pages, room, block, line.clone());
        }
    }
    pages
}

/// How many lines the first block must have on its page: a heading those of the blocks that stay with it, unless no page has room for
/// so many.
fn needed(blocks: &[Block], room: usize) -> usize {
    let Some((first, rest)) = blocks.split_first() else { return 0 };
    let mut needed = first.lines.len();
    if first.opens {
        for next in rest.iter().take(TOGETHER).take_while(|next| !next.opens) {
            if needed + next.lines.len() > room {
                break;
            }
            needed += next.lines.len();
        }
    }
    needed
}

/// What a page begins with that continues something.
fn again(block: &Block) -> Vec<String> {
    if block.opens { Vec::new() } else { vec![format!("{} (continued)", block.heading), String::new()] }
}

fn push(pages: &mut Vec<Vec<String>>, room: usize, block: &Block, line: String) {
    if pages.last().is_none_or(|page| page.len() >= room) {
        let mut page = again(block);
        // More of a heading that is longer than a page.
        if block.opens {
            page.push(format!("{} (continued)", block.heading));
        }
        pages.push(page);
    }
    if let Some(page) = pages.last_mut() {
        page.push(line);
    }
}

/// Left and right in one line of the page's width.
pub(super) fn line_of(left: &str, right: &str) -> String {
    let blank = PAGE_WIDTH.saturating_sub(width(left) + width(right)).max(1);
    format!("{left}{}{right}", " ".repeat(blank))
}
