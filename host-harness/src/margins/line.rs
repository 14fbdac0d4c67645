//! Stops and ramps: the way along a line, and away from it where that is worst.

use monitor_core::{Position, Span};

use super::amount::Amount;
use super::kinematics::speeds_up;
use super::path::{Broken, Part};
use super::reaction::reaction;
use super::timing::plus;
use super::travel::{Found, Way};
use crate::replay::TripRule;
use crate::setup::{By, MonitorKind, RampSetup};

/// A line that the speed has to follow, and what a violation of it takes.
pub(super) struct Line {
    delay: Amount,
    slope: Amount,
    /// Half the time of a corner that is rounded, for which the line lasts longer.
    corner: Amount,
    target: Amount,
    margin: Amount,
    reaction: Amount,
}

impl Way<'_> {
    /// The line of a stop, or of a ramp into a limit, that this path goes by.
    pub(super) fn line(&self) -> Option<Line> {
        let TripRule::Monitor(place, _) = self.rule else { return None };
        let monitor = &self.setup.monitors[place];
        let own = matches!(self.path.broken, Broken::Demand | Broken::Stop);
        match (&monitor.kind, monitor.reaction) {
            (MonitorKind::SpeedLimit { limit, ramp: Some(ramp) }, _) if own => {
                Some(self.of_ramp(ramp, limit.larger().into(), place))
            }
            (MonitorKind::Stop { by, .. }, _) if own => self.of_stop(by, place),
            (_, Some(stop)) => match &self.setup.monitors[stop].kind {
                MonitorKind::Stop { by, .. } => self.of_stop(by, stop),
                _ => None,
            },
            _ => None,
        }
    }

    fn of_ramp(&self, ramp: &RampSetup, target: Amount, place: usize) -> Line {
        let slope: Amount = ramp.deceleration.value.into();
        let corner = ramp.jerk.as_ref().map_or(Amount::ZERO, |jerk| {
            (slope / Amount::from(Position::from_bits(jerk.value.to_bits()))).half()
        });
        Line {
            delay: ramp.delay.value.into(),
            slope,
            corner,
            target,
            margin: ramp.margin.value.into(),
            reaction: self.after_violation(place, Broken::Speed),
        }
    }

    /// From a violation of the line to the torque that is gone. A stop that is a reaction has none itself.
    fn after_violation(&self, place: usize, broken: Broken) -> Amount {
        let reaction = reaction(self.setup, self.period, TripRule::Monitor(place, self.channel));
        reaction.path(broken).map_or(Amount(None), |path| path.total().into())
    }

    /// A stop by time has no line: nothing is watched.
    fn of_stop(&self, by: &By, place: usize) -> Option<Line> {
        match by {
            By::Time { .. } => None,
            By::Ramp { ramp, standstill_speed, .. } => {
                Some(self.of_ramp(ramp, standstill_speed.value.into(), place))
            }
            By::Deceleration { braking, standstill_speed, .. } => Some(Line {
                delay: braking.delay.value.into(),
                slope: Amount::from(braking.deceleration.value) - braking.margin.value.into(),
                corner: Amount::ZERO,
                target: standstill_speed.value.into(),
                margin: Amount::ZERO,
                reaction: self.after_violation(place, Broken::Acceleration),
            }),
        }
    }

    /// The time of the path before its line begins.
    fn before_the_line(&self) -> Span {
        let rest = |part: &Part| {
            matches!(part, Part::Stop | Part::FrameStop | Part::Ramp | Part::FrameRamp | Part::OutputDelay)
        };
        let until = self.path.terms.iter().take_while(|term| !rest(&term.part));
        until.fold(Span::ZERO, |sum, term| plus(sum, term.time))
    }

    /// Along the line, and then away from it where that is worst. Returns the speed when the torque is gone and the longest time.
    pub(super) fn along(
        &self,
        found: &mut Found,
        line: &Line,
        from: Amount,
        rises: Amount,
    ) -> (Amount, Option<Amount>) {
        let before: Amount = self.before_the_line().into();
        let most = self.most(rises);
        let (speed, way) = speeds_up(from, rises, before, Some(most));
        found.way("until the line begins", way);
        let top = (speed + line.margin).up();
        // In the delay of a braking nothing is watched.
        let top = if line.margin == Amount::ZERO {
            speeds_up(top, rises, line.delay, Some(most)).0.up()
        } else {
            top
        };
        let target = line.target.min(top);
        let corner = line.corner + line.corner;
        let mut worst: Option<(Amount, Amount)> = None;
        let mut longest = Amount::ZERO;
        for leaves in self.places_to_leave(line, top, target, rises) {
            let along = top * (line.delay + line.corner)
                + (top.squared() - leaves.squared()) / (line.slope + line.slope);
            let mut after = Found::new();
            let falls = line.delay + corner + (top - leaves) / line.slope;
            let (_, time) = self.runs_away(&mut after, leaves, rises, before + falls, line.reaction, "");
            let way = along + after.total;
            if worst.is_none_or(|(most, _)| way.0 > most.0) {
                worst = Some((way, leaves));
            }
            longest = longest.max(time.unwrap_or(longest));
            found.missing = after.missing;
        }
        let Some((_, leaves)) = worst else { return (top, None) };
        let along =
            top * (line.delay + line.corner) + (top.squared() - leaves.squared()) / (line.slope + line.slope);
        found.way("along the line", along);
        let missing = std::mem::take(&mut found.missing);
        let (torque_off, time) = self.runs_away(
            found,
            leaves,
            rises,
            Amount::ZERO,
            line.reaction,
            "away from it, until the torque is gone",
        );
        found.missing = missing;
        (torque_off, time.map(|_| longest))
    }

    /// The speeds at which leaving the line may be worst: its ends, and where way along it and way after it balance.
    fn places_to_leave(&self, line: &Line, top: Amount, target: Amount, rises: Amount) -> Vec<Amount> {
        let machine = &self.setup.machine;
        let mut places = vec![top, target];
        if let Some(brake) = &machine.brake_deceleration {
            let brake: Amount = brake.value.into();
            let delay = machine.brake_delay.as_ref().map_or(Amount::ZERO, |delay| delay.value.into());
            let falls = machine.fall_acceleration.as_ref().map_or(Amount::ZERO, |fall| fall.value.into());
            let gains = rises * line.reaction + falls * delay;
            let after = line.slope * (line.reaction + delay + gains / brake);
            let share = Amount::whole(1) - line.slope / brake;
            if share.0 > Amount::ZERO.0 {
                places.push((after / share).max(target).min(top).up().min(top));
            }
        }
        places
    }
}
