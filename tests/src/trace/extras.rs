//! What only some of the setups have: places of the machine, outputs, demands by them, stops as reactions, analogue values.

use super::Timing;
use super::rng::Rng;
use crate::model::{
    Analogue, By, Demand, Kind, Monitor, Q, Referencing, Setup, Term, Until, q, seconds, ulp_down, ulps,
};

/// Draws around the typical speed `v`.
struct Extras<'a> {
    rng: &'a mut Rng,
    timing: &'a Timing,
    v: &'a Q,
    inputs: usize,
}

impl Extras<'_> {
    fn periods(&mut self, most: u64) -> u64 {
        let periods = self.timing.period_ns * self.rng.nanos(0, most);
        periods + if self.rng.flip() { 0 } else { self.rng.nanos(0, self.timing.period_ns) }
    }

    /// What the typical speed travels in some periods, either way.
    fn place(&mut self) -> Q {
        ulp_down(&(self.v * seconds(self.timing.period_ns) * q(self.rng.range(-600, 600), 10)))
    }

    fn input(&mut self) -> usize {
        usize::try_from(self.rng.range(0, i128::try_from(self.inputs).expect("few") - 1)).expect("an index")
    }

    fn referencing(&mut self) -> Referencing {
        if self.rng.flip() {
            return Referencing::Absolute { offset: self.place() };
        }
        Referencing::Event { input: self.input(), position: self.place() }
    }

    /// A range of places.
    fn places(&mut self) -> [Q; 2] {
        let (one, other) = (self.place(), self.place());
        [one.clone().min(other.clone()), one.max(other)]
    }

    /// A whole number of units, which the values meet.
    fn value(&mut self, low: i128, high: i128) -> Q {
        q(self.rng.range(low, high), 1) + ulps(self.rng.pick(&[0, 0, 0, 1, -1]))
    }

    fn analogue(&mut self) -> Analogue {
        Analogue {
            low: self.value(-120, -80),
            high: self.value(80, 120),
            timeout_ns: self.timing.period_ns + self.periods(8),
            tolerance: self.value(1, 6),
            discrepancy_time_ns: self.periods(6),
        }
    }

    fn analogue_rule(&mut self, analogue: usize) -> Kind {
        match self.rng.range(0, 2) {
            0 => Kind::TorqueLimit { analogue, limit: self.value(1, 90) },
            1 => Kind::TorqueRange { analogue, low: self.value(-90, 0), high: self.value(1, 90) },
            _ => Kind::TemperatureLimit { analogue, limit: self.value(-90, 90) },
        }
    }

    /// Something that is demanded always or by inputs.
    fn demand(&mut self) -> Demand {
        match self.rng.range(0, 3) {
            0 => Demand::inputs(&[self.input()]),
            1 => Demand::Any(vec![Term::NotInput(self.input())]),
            _ => Demand::Always,
        }
    }

    fn monitor(&mut self, kind: Kind) -> Monitor {
        let demand = self.demand();
        let on_delay_ns = if kind.demands() { 0 } else { self.periods(4) };
        Monitor { demand, reaction: None, on_delay_ns, allowed_overrun: None, kind }
    }

    fn output(&mut self, has_places: bool) -> Kind {
        if has_places && self.rng.flip() {
            let [low, high] = self.places();
            // No more than a half, or nothing would be inside.
            let hysteresis = ulp_down(&((&high - &low) * q(self.rng.range(0, 49), 100)));
            return Kind::CamOutput { low, high, hysteresis };
        }
        let threshold = ulp_down(&(self.v * q(self.rng.range(1, 13), 10))).max(ulps(1));
        let hysteresis = ulp_down(&(&threshold * q(self.rng.range(0, 99), 100)));
        Kind::SpeedOutput { threshold, hysteresis }
    }
}

/// Adds to a setup some of what most of them do not have; `v` is the typical speed.
pub(super) fn extras(rng: &mut Rng, timing: &Timing, v: &Q, setup: &mut Setup) {
    let inputs = setup.inputs.len();
    let mut extras = Extras { rng, timing, v, inputs };
    let has_places = extras.rng.flip();
    if has_places {
        setup.referencing = [extras.referencing(), extras.referencing()];
    }
    // Outputs come first, so that what is there already may be demanded by them.
    let mut added = Vec::new();
    for _ in 0..extras.rng.range(0, 2) {
        let kind = extras.output(has_places);
        added.push(extras.monitor(kind));
    }
    let outputs = added.len();
    // An output may be demanded by one before it.
    if outputs == 2 && extras.rng.flip() {
        added[1].demand = Demand::Any(vec![extras.rng.pick(&[Term::Output(0), Term::NotOutput(0)])]);
    }
    if has_places && extras.rng.flip() {
        let [low, high] = extras.places();
        added.push(extras.monitor(Kind::PositionRange { low, high }));
    }
    for analogue in 0..usize::try_from(extras.rng.range(0, 2)).expect("a small number") {
        setup.analogues.push(extras.analogue());
        let kind = extras.analogue_rule(analogue);
        added.push(extras.monitor(kind));
    }
    if extras.rng.flip() {
        let kind = Kind::BrakeOutput { delay_ns: extras.periods(12) };
        added.push(Monitor { demand: Demand::Always, on_delay_ns: 0, ..extras.monitor(kind) });
    }
    if extras.rng.once_in(4000) {
        let by = By::Time { within_ns: extras.periods(20) };
        let stop = extras.monitor(Kind::Stop { until: Until::TorqueOff, by });
        added.push(Monitor { demand: Demand::Reactions, ..stop });
    }
    added.append(&mut setup.monitors);
    setup.monitors = added;
    for monitor in setup.monitors.iter_mut().skip(outputs) {
        let Demand::Any(terms) = &mut monitor.demand else { continue };
        for term in terms.iter_mut() {
            if let Term::Input(input) = *term
                && extras.rng.once_in(1000)
            {
                *term = Term::NotInput(input);
            }
        }
        if outputs > 0 && extras.rng.once_in(4000) {
            let output = usize::from(outputs == 2 && extras.rng.flip());
            terms.push(extras.rng.pick(&[Term::Output(output), Term::NotOutput(output)]));
            if extras.rng.flip() {
                terms.remove(0);
            }
        }
    }
    react(extras.rng, setup);
}

/// Lets trips demand a stop instead of withdrawing the permit.
fn react(rng: &mut Rng, setup: &mut Setup) {
    let ends_without_torque =
        |monitor: &Monitor| matches!(monitor.kind, Kind::Stop { until: Until::TorqueOff, .. });
    let stops: Vec<usize> =
        (0..setup.monitors.len()).filter(|&index| ends_without_torque(&setup.monitors[index])).collect();
    if stops.is_empty() {
        return;
    }
    let mut demanded = Vec::new();
    for monitor in &mut setup.monitors {
        let can_react =
            !matches!(monitor.kind, Kind::Stop { .. } | Kind::TorqueOff | Kind::BrakeOutput { .. })
                && !monitor.kind.demands();
        if can_react && rng.once_in(6000) {
            let stop = rng.pick(&stops);
            monitor.reaction = Some(stop);
            demanded.push(stop);
        }
    }
    for stop in demanded {
        if rng.flip() {
            setup.monitors[stop].demand = Demand::Reactions;
        }
        // Long enough that what tripped is over before the stop is.
        if let Monitor { kind: Kind::Stop { by, .. }, allowed_overrun, .. } = &mut setup.monitors[stop]
            && rng.flip()
        {
            *allowed_overrun = None;
            *by = By::Time { within_ns: rng.nanos(100_000_000, 1_000_000_000) };
        }
    }
}
