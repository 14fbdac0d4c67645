//! The coverage statement for people.

use std::fmt;

use super::{Coverage, State, Vectors, variations};
use crate::plural::plural;
use crate::replay::Refused;

impl fmt::Display for Coverage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let of =
            |wanted: fn(&State) -> bool| self.transitions.iter().filter(|one| wanted(&one.state)).count();
        let seen = of(|state| matches!(state, State::Seen(_)));
        let left_out = of(|state| matches!(state, State::LeftOut(_)));
        let missing = of(|state| *state == State::NotCovered);
        writeln!(
            f,
            "Coverage, counted from the frames: {} transitions, {seen} exercised, {left_out} left out for the reason given, {missing} NOT COVERED",
            self.transitions.len()
        )?;
        let mut part = "";
        for one in &self.transitions {
            if one.part != part {
                part = &one.part;
                writeln!(f, "\n{part}")?;
            }
            match &one.state {
                State::Seen(frames) => writeln!(f, "  {frames:>8}  {}", one.what)?,
                State::LeftOut(why) => writeln!(f, "         -  {} (left out: {why})", one.what)?,
                State::NotCovered => writeln!(f, "  NOT COVERED  {}", one.what)?,
            }
        }
        if missing > 0 {
            writeln!(f, "\nNOT COVERED")?;
            for one in self.not_covered() {
                writeln!(f, "  {}: {}", one.part, one.what)?;
            }
            writeln!(
                f,
                "No case that was made for this setup comes to these: show them to the implementation by other means, or say why they\n\
                 cannot occur. The vectors themselves are good."
            )?;
        }
        Ok(())
    }
}

/// What vectors cover, and what they are sensitive to.
#[derive(Clone, Debug)]
pub struct Statement {
    /// For people.
    pub text: String,
    /// Nothing that is wanted is missing.
    pub is_covered: bool,
}

/// Runs the vectors and says what they exercised, and which settings could be off by their smallest step unnoticed.
///
/// # Errors
///
/// [`Refused`] when the core does not accept the setup.
pub fn statement(vectors: &Vectors) -> Result<Statement, Refused> {
    let coverage = Coverage::of(vectors)?;
    let (mut moved, mut refused, mut unnoticed) = (0, 0, Vec::new());
    for variation in variations(&vectors.setup, vectors.points) {
        moved += 1;
        match &variation.axis {
            None => refused += 1,
            Some(axis) if vectors.notice(axis).is_none() => unnoticed.push(variation.what),
            Some(_) => {}
        }
    }
    let mut text = format!(
        "{}, {} for {}, checksum {:08x}, {} stored readings per channel\n\n{coverage}\n",
        plural(vectors.cases.len(), "case"),
        plural(vectors.frames(), "frame"),
        vectors.setup.title,
        vectors.setup.checksum(),
        vectors.points
    );
    text += &format!(
        "Settings moved by their smallest step: {moved}; {} change an expected outcome, {refused} cannot be set up, {} change none",
        moved - refused - unnoticed.len(),
        unnoticed.len()
    );
    for what in &unnoticed {
        text += &format!("\n  {what}");
    }
    Ok(Statement { text, is_covered: coverage.not_covered().next().is_none() })
}
