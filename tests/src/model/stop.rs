//! A stop: its supervision until it is complete, then what follows.

use super::envelope::envelope;
use super::exact::Q;
use super::monitor::Lane;
use super::rule::{self, Finding};
use super::setup::{By, Until};
use super::source::Tracker;
use super::verdict::{Judge, Limit, Question, Tri};
use num_traits::Signed;

/// What a stop finds `elapsed_ns` after its demand.
pub(super) fn stop(
    lane: &mut Lane,
    tracker: &Tracker,
    until: &Until,
    by: &By,
    elapsed_ns: u64,
    judge: &mut Judge,
    [violation, completion]: [Question; 2],
) -> Finding {
    if lane.complete {
        return match until {
            Until::TorqueOff => Finding::nothing(),
            Until::Standstill { position_window, speed_window } => {
                rule::standstill(lane, tracker, position_window, speed_window)
            }
        };
    }
    let finding = match by {
        By::Time { within_ns } => {
            lane.complete = elapsed_ns >= *within_ns;
            Finding::nothing()
        }
        By::Ramp { ramp, standstill_speed, within_ns } => {
            lane.complete = within_ns.is_some_and(|within| elapsed_ns >= within);
            match envelope(lane, tracker, ramp, standstill_speed, elapsed_ns) {
                None => Finding::warming_up(),
                Some(line) => {
                    let target = Limit::setting(standstill_speed);
                    let finding = rule::speed(tracker, &line.clone().max(target), judge, violation);
                    if !lane.complete {
                        lane.complete = reached(&line, standstill_speed, judge, completion);
                    }
                    finding
                }
            }
        }
        By::Deceleration { delay_ns, deceleration, margin, standstill_speed, within_ns } => {
            lane.complete = within_ns.is_some_and(|within| elapsed_ns >= within);
            let stands = tracker.speed().map(|speed| speed.abs() <= *standstill_speed);
            match stands {
                // Only its time completes it on a faulted channel.
                _ if tracker.fault.is_some() => Finding::nothing(),
                None => Finding::warming_up(),
                Some(true) => {
                    lane.complete = true;
                    Finding::nothing()
                }
                Some(false) if elapsed_ns < *delay_ns => Finding::nothing(),
                Some(false) => rule::deceleration(tracker, &(deceleration - margin), judge, violation),
            }
        }
    };
    if lane.complete && matches!(until, Until::Standstill { .. }) {
        lane.x_ref = tracker.place();
    }
    finding
}

/// Whether the falling line has reached the standstill speed.
fn reached(line: &Limit, standstill_speed: &Q, judge: &mut Judge, question: Question) -> bool {
    let verdict = if line.exact <= *standstill_speed {
        Tri::Yes
    } else if line.strictest > *standstill_speed {
        Tri::No
    } else {
        Tri::Near
    };
    judge.decide(question, verdict, line.held <= *standstill_speed)
}
