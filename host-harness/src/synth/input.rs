//! Digital inputs: levels over time, with contact bounce and a stuck contact.

use super::check::{Check, Checked};
use super::file;

/// An input, instants in nanoseconds from the first row.
#[derive(Debug, Clone)]
pub(super) struct InputModel {
    pub(super) column: String,
    pub(super) initial: u8,
    /// Changes in rising order, each to the other level.
    pub(super) events: Vec<(i64, u8)>,
    pub(super) bounce: Option<Bounce>,
    pub(super) stuck_from: Option<i64>,
}

/// Chatter after each change: the level alternates every `every`, beginning with the new one, until it settles.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounce {
    duration: i64,
    every: i64,
}

impl InputModel {
    /// Level at `t`; `next` is the first change not yet seen and only moves forward.
    pub(super) fn level(&self, t: i64, next: &mut usize) -> u8 {
        let t = self.stuck_from.map_or(t, |stuck| t.min(stuck));
        while self.events.get(*next).is_some_and(|(at, _)| *at <= t) {
            *next += 1;
        }
        let Some((at, level)) = next.checked_sub(1).map(|last| self.events[last]) else {
            return self.initial;
        };
        match self.bounce {
            Some(bounce) if t - at < bounce.duration && (t - at) / bounce.every % 2 == 1 => 1 - level,
            _ => level,
        }
    }
}

impl Check<'_> {
    pub(super) fn input(&self, input: &file::Input) -> Checked<InputModel> {
        let initial = self.level(&input.initial)?;
        let mut events: Vec<(i64, u8)> = Vec::with_capacity(input.events.len());
        for event in &input.events {
            let at = self.instant(&event.at)?;
            if events.last().is_some_and(|(before, _)| at <= *before) {
                return self.error(
                    event.at.span(),
                    "the event is not after the one before it",
                    "put the events in rising order of time",
                );
            }
            let level = self.level(&event.level)?;
            if level == events.last().map_or(initial, |(_, before)| *before) {
                return self.error(
                    event.level.span(),
                    format!("the input is at level {level} already"),
                    "remove the event or correct its level",
                );
            }
            events.push((at, level));
        }
        let bounce = input.bounce.as_ref().map(|bounce| self.bounce(bounce)).transpose()?;
        let stuck_from = input.stuck_from.as_ref().map(|text| self.instant(text)).transpose()?;
        Ok(InputModel { column: input.column.get_ref().clone(), initial, events, bounce, stuck_from })
    }

    fn bounce(&self, bounce: &file::Bounce) -> Checked<Bounce> {
        let duration = self.time_above_zero(&bounce.duration)?;
        let every = self.time_above_zero(&bounce.every)?;
        if every < duration {
            return Ok(Bounce { duration, every });
        }
        self.error(
            bounce.every.span(),
            "the bounce is over before the level changes once",
            "write `every` below `for`",
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_bounces_after_its_change_settles_and_can_stick() {
        let input = InputModel {
            column: "door".to_owned(),
            initial: 1,
            events: vec![(100, 0), (200, 1)],
            bounce: Some(Bounce { duration: 35, every: 10 }),
            stuck_from: Some(215),
        };
        let mut next = 0;
        let levels: Vec<u8> = [0, 99, 100, 109, 110, 119, 120, 130, 134, 135, 199, 200, 210, 215, 400, 1_000]
            .iter()
            .map(|t| input.level(*t, &mut next))
            .collect();
        assert_eq!(levels, [1, 1, 0, 0, 1, 1, 0, 1, 1, 0, 0, 1, 0, 0, 0, 0]);
    }
}
