//! Checked values of a scenario file: every helper turns a written value into a number, or names its place.

use std::ops::Range;

use toml::Spanned;

use super::error::{Complaint, Document, ScenarioError};
use super::file::Text;
use super::units::{self, AxisUnit, Order};

/// What every check needs to know.
#[derive(Clone, Copy)]
pub(super) struct Check<'a> {
    pub(super) document: Document<'a>,
    pub(super) axis: AxisUnit,
    /// Length of the trace, in nanoseconds: nothing may begin after it.
    pub(super) duration: i64,
}

pub(super) type Checked<T> = Result<T, ScenarioError>;

impl Check<'_> {
    pub(super) fn error<T>(
        &self,
        span: Range<usize>,
        message: impl Into<String>,
        advice: impl Into<String>,
    ) -> Checked<T> {
        Err(self.document.error(span, Complaint::new(message, advice)))
    }

    pub(super) fn place<T>(&self, text: &Text, result: Result<T, Complaint>) -> Checked<T> {
        result.map_err(|complaint| self.document.error(text.span(), complaint))
    }

    pub(super) fn motion(&self, text: &Text, order: Order) -> Checked<f64> {
        self.place(text, units::motion(text.get_ref(), self.axis, order))
    }

    pub(super) fn position(&self, text: &Text) -> Checked<f64> {
        self.motion(text, Order::Position)
    }

    /// A value above zero.
    pub(super) fn above_zero(&self, text: &Text, order: Order) -> Checked<f64> {
        let value = self.motion(text, order)?;
        if value > 0.0 {
            return Ok(value);
        }
        self.error(text.span(), format!("`{}` is not above zero", text.get_ref()), "write a value above zero")
    }

    /// A length from zero on; zero when it is not written.
    pub(super) fn length_or_zero(&self, text: Option<&Text>) -> Checked<f64> {
        let Some(text) = text else { return Ok(0.0) };
        let value = self.position(text)?;
        if value >= 0.0 {
            return Ok(value);
        }
        self.error(text.span(), format!("`{}` is negative", text.get_ref()), "write a value from zero on")
    }

    /// A value that may have either sign but would do nothing at zero.
    pub(super) fn effective(&self, text: &Text, order: Order) -> Checked<f64> {
        let value = self.motion(text, order)?;
        if value != 0.0 {
            return Ok(value);
        }
        self.error(text.span(), "a value of zero changes nothing", "write another value or remove the entry")
    }

    pub(super) fn time(&self, text: &Text) -> Checked<i64> {
        self.place(text, units::time(text.get_ref()))
    }

    pub(super) fn time_or_zero(&self, text: Option<&Text>) -> Checked<i64> {
        text.map_or(Ok(0), |text| self.time(text))
    }

    pub(super) fn time_above_zero(&self, text: &Text) -> Checked<i64> {
        let value = self.time(text)?;
        if value > 0 {
            return Ok(value);
        }
        self.error(text.span(), "a time of zero is too short here", "write a time above zero")
    }

    /// An instant within the trace.
    pub(super) fn instant(&self, text: &Text) -> Checked<i64> {
        let at = self.time(text)?;
        if at < self.duration {
            return Ok(at);
        }
        self.error(
            text.span(),
            format!("`{}` is at or after the end of the trace", text.get_ref()),
            "bring it forward or lengthen `duration`",
        )
    }

    /// The end of an interval that begins at `at`; `i64::MAX` when it is not written.
    pub(super) fn until(&self, text: Option<&Text>, at: i64) -> Checked<i64> {
        let Some(text) = text else { return Ok(i64::MAX) };
        let until = self.time(text)?;
        if until > at {
            return Ok(until);
        }
        self.error(text.span(), "`until` is not after `at`", "write a later instant")
    }

    /// An integer from `range`.
    pub(super) fn integer(&self, value: &Spanned<i64>, range: Range<i64>, what: &str) -> Checked<i64> {
        if range.contains(value.get_ref()) {
            return Ok(*value.get_ref());
        }
        let message = format!("{what} is {}", value.get_ref());
        self.error(value.span(), message, format!("write {} to {}", range.start, range.end - 1))
    }

    /// A level of an input.
    pub(super) fn level(&self, value: &Spanned<i64>) -> Checked<u8> {
        self.integer(value, 0..2, "the level").map(|level| level as u8)
    }

    /// A line of a comment.
    pub(super) fn comment(&self, text: &Text) -> Checked<String> {
        if text.get_ref().chars().any(char::is_control) {
            return self.error(
                text.span(),
                "the text has a line break or a control character",
                "write one line",
            );
        }
        Ok(text.get_ref().clone())
    }

    /// The value of a key that this combination needs.
    pub(super) fn needed<'t, T>(
        &self,
        value: Option<&'t T>,
        span: Range<usize>,
        key: &str,
        reason: &str,
    ) -> Checked<&'t T> {
        match value {
            Some(value) => Ok(value),
            None => self.error(span, format!("`{key}` is missing: {reason}"), format!("add `{key} = ...`")),
        }
    }

    /// Refuses a key that means nothing in this combination.
    pub(super) fn unwanted<T>(&self, value: Option<&Spanned<T>>, key: &str, reason: &str) -> Checked<()> {
        match value {
            None => Ok(()),
            Some(value) => {
                self.error(value.span(), format!("`{key}` means nothing here: {reason}"), "remove it")
            }
        }
    }
}
