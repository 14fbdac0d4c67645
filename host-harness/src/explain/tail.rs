//! A trace that ends while something is beyond its limit.

use monitor_core::{Channel, Check, Instant, MonitorId, Span};

use super::excerpt::Excerpt;
use super::raw::seconds;
use super::rerun::index;
use crate::replay::{ReplayAxis, analogue_id};
use crate::setup::Setup;

/// A rule that is beyond its limit at the last frame, and has not tripped yet.
pub(super) struct EndsBeyond {
    pub(super) rule: String,
    /// The first frame of the violation.
    pub(super) since: Instant,
    /// How long it would have to last still, in seconds.
    pub(super) left_s: f64,
}

/// A place for everything that may be beyond its limit, and the frame since when it is.
struct Since {
    rule: String,
    delay: Span,
    since: Option<Instant>,
    /// At the present frame.
    is_beyond: bool,
}

/// Of the rules that are beyond their limits at the last of these frames the one that would trip first.
pub(super) fn beyond(setup: &Setup, excerpt: &Excerpt) -> Option<EndsBeyond> {
    let last = excerpt.last()?;
    let mut all = rules(setup);
    let longest = all.iter().map(|rule| rule.delay.as_nanos()).max().unwrap_or(0);
    // From a little before the longest delay on: what began earlier has tripped.
    let from = Instant::from_nanos(last.as_nanos().saturating_sub(longest.saturating_add(100_000_000)));
    let chunks = excerpt.from(from);
    let mut axis = chunks.first()?.axis.clone();
    for chunk in chunks {
        chunk.each_frame(|frame, offered| {
            for (of, channel, reading) in offered {
                if let Some(id) = analogue_id(*of) {
                    axis.offer(id, *channel, *reading);
                }
            }
            let _ = axis.step_watched(frame, &mut |id: MonitorId, channel: Channel, check: &Check| {
                let place = 2 * usize::from(id.index()) + index(channel);
                if let Some(rule) = all.get_mut(place) {
                    rule.is_beyond = check.is_violated();
                }
            });
            let both = 2 * setup.monitors.len();
            for (rule, is_beyond) in all[both..].iter_mut().zip(apart(setup, &axis)) {
                rule.is_beyond = is_beyond;
            }
            for rule in &mut all {
                rule.since = if rule.is_beyond { rule.since.or(Some(frame.now)) } else { None };
                rule.is_beyond = false;
            }
        });
    }
    let ends = all.into_iter().filter_map(|rule| {
        let since = rule.since?;
        let lasted = last.since(since)?.as_nanos();
        // What is latched, or lasts longer than its delay, is no violation that would still trip.
        let left = rule.delay.as_nanos().checked_sub(lasted).filter(|left| *left > 0)?;
        Some(EndsBeyond { rule: rule.rule, since, left_s: seconds(left) })
    });
    ends.min_by(|one, other| one.left_s.total_cmp(&other.left_s))
}

/// Both channels of each monitor, then the comparisons.
fn rules(setup: &Setup) -> Vec<Since> {
    let rule = |rule: &str, delay| Since { rule: rule.to_owned(), delay, since: None, is_beyond: false };
    let monitors = setup.monitors.iter();
    let mut all: Vec<_> =
        monitors.flat_map(|monitor| [(); 2].map(|()| rule(&monitor.name, monitor.on_delay.value))).collect();
    let zero = Span::from_nanos(0);
    let (positions, speeds) = (&setup.discrepancy, &setup.speed_discrepancy);
    all.push(rule("discrepancy", positions.as_ref().map_or(zero, |rule| rule.discrepancy_time.value)));
    all.push(rule("speed_discrepancy", speeds.as_ref().map_or(zero, |rule| rule.discrepancy_time.value)));
    all.extend(setup.analogues.iter().map(|of| rule(&of.name, of.discrepancy_time.value)));
    all
}

/// Whether the positions, the speeds, and the lines of each value are too far apart.
fn apart(setup: &Setup, axis: &ReplayAxis) -> Vec<bool> {
    let mut all = vec![
        axis.apart().is_some_and(|apart| apart.bound.is_exceeded()),
        axis.speeds_apart().is_some_and(|bound| bound.is_exceeded()),
    ];
    all.extend(setup.analogues.iter().enumerate().map(|(of, analogue)| {
        let line = |channel| {
            let id = analogue_id(of)?;
            Some(axis.state().analogue_reading(id, channel)?.value?.to_bits())
        };
        let lines = line(Channel::A).zip(line(Channel::B));
        lines.is_some_and(|(a, b)| a.abs_diff(b) > analogue.tolerance.value.to_bits().unsigned_abs())
    }));
    all
}
