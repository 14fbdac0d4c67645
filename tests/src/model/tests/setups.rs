//! How settings are held, and which are refused.

use super::*;

fn with(kind: Kind) -> Setup {
    Setup { points: 7, monitors: vec![monitor(kind, 0, &[])], ..bare() }
}

fn ramp() -> Ramp {
    Ramp { delay_ns: 0, deceleration: d("1000"), margin: d("1"), jerk: Some(d("5000")) }
}

fn braking(deceleration: Q, margin: Q) -> Kind {
    let by =
        By::Deceleration { delay_ns: 0, deceleration, margin, standstill_speed: d("1"), within_ns: None };
    Kind::Stop { until: Until::TorqueOff, by }
}

fn third() -> Q {
    q(1, 3)
}

#[test]
fn every_setting_is_held_at_its_stricter_side() {
    let (down, up) = (ulp_down(&third()), ulp_up(&third()));
    assert!(down < third() && third() < up);
    let steep = Ramp { delay_ns: 0, deceleration: third(), margin: third(), jerk: Some(third()) };
    let held_ramp =
        Ramp { delay_ns: 0, deceleration: up.clone(), margin: down.clone(), jerk: Some(up.clone()) };
    let way = Way::Negative;
    let cases = [
        (
            Kind::SpeedLimitEachWay { positive: third(), negative: third(), ramp: Some(steep.clone()) },
            Kind::SpeedLimitEachWay {
                positive: down.clone(),
                negative: down.clone(),
                ramp: Some(held_ramp.clone()),
            },
        ),
        (
            Kind::SpeedLimit { limit: third(), ramp: Some(steep) },
            Kind::SpeedLimit { limit: down.clone(), ramp: Some(held_ramp) },
        ),
        (
            Kind::SpeedRange { low: third(), high: third() + d("1") },
            Kind::SpeedRange { low: up.clone(), high: &down + d("1") },
        ),
        (
            Kind::SpeedRange { low: -third(), high: third() },
            Kind::SpeedRange { low: -&down, high: down.clone() },
        ),
        (
            Kind::AccelerationRange { low: -third(), high: third() },
            Kind::AccelerationRange { low: -&down, high: down.clone() },
        ),
        (Kind::AccelerationLimit { limit: third() }, Kind::AccelerationLimit { limit: down.clone() }),
        (
            Kind::Direction { allowed: way, tolerance: third() },
            Kind::Direction { allowed: way, tolerance: down.clone() },
        ),
        (Kind::TravelLimit { increment: third() }, Kind::TravelLimit { increment: down.clone() }),
        (braking(third(), third()), braking(up, down.clone())),
    ];
    for (given, expected) in cases {
        let mut setup = with(given);
        setup.monitors[0].allowed_overrun = Some(third());
        let held = setup.as_held();
        assert_eq!(held.monitors[0].kind, expected);
        assert_eq!(held.monitors[0].allowed_overrun, Some(down.clone()));
        assert_eq!(held.as_held(), held);
    }
}

#[test]
fn settings_that_make_no_sense_are_refused() {
    let most = ulps(i64::MAX.into());
    let each = |positive, negative| Kind::SpeedLimitEachWay {
        positive: d(positive),
        negative: d(negative),
        ramp: None,
    };
    let limit = |limit: Q| Kind::AccelerationLimit { limit };
    let range = |low: Q, high: Q| Kind::AccelerationRange { low, high };
    let speeds = |low, high| Kind::SpeedRange { low: d(low), high: d(high) };
    let fall = |ramp: Ramp| Kind::SpeedLimit { limit: d("1"), ramp: Some(ramp) };
    let good = [
        each("0", "3"),
        limit(&most - ulps(1)),
        range(-&most + ulps(1), &most - ulps(1)),
        speeds("2", "2"),
        speeds("-3", "-2"),
        fall(ramp()),
        braking(d("1"), d("1")),
        Kind::TravelLimit { increment: d("0") },
    ];
    for kind in good {
        assert_eq!(with(kind.clone()).check(), Ok(()), "{kind:?}");
    }
    let bad = [
        each("-1", "3"),
        each("1", "-3"),
        limit(most.clone()),
        limit(d("-1")),
        range(-&most, d("1")),
        range(d("1"), most.clone()),
        range(d("1"), d("0")),
        speeds("2", "1"),
        fall(Ramp { jerk: Some(d("0")), ..ramp() }),
        fall(Ramp { deceleration: d("0"), ..ramp() }),
        fall(Ramp { margin: d("-1"), ..ramp() }),
        braking(d("0"), d("0")),
        braking(d("1"), d("1.5")),
        braking(d("1"), d("-1")),
        braking(most, d("0")),
        Kind::TravelLimit { increment: d("-1") },
        Kind::Direction { allowed: Way::Positive, tolerance: d("-1") },
    ];
    for kind in bad {
        assert!(with(kind.clone()).check().is_err(), "{kind:?}");
    }
}

#[test]
fn an_acceleration_needs_seven_points() {
    let points = |kind, points| Setup { points, ..with(kind) }.check().is_ok();
    let braked = || braking(d("1"), d("0"));
    let limit = || Kind::AccelerationLimit { limit: d("1") };
    assert_eq!([3, 5, 7, 8, 9].map(|count| points(limit(), count)), [false, false, true, false, true]);
    assert_eq!([3, 5, 7, 8, 9].map(|count| points(braked(), count)), [false, false, true, false, true]);
    assert_eq!([2, 3, 4, 5].map(|count| points(speed_limit("1"), count)), [false, true, false, true]);
}

#[test]
fn an_overrun_is_allowed_of_a_limit_of_the_speed_only() {
    let by = By::Ramp { ramp: ramp(), standstill_speed: d("1"), within_ns: None };
    let stop = |by| Kind::Stop { until: Until::TorqueOff, by };
    let checked = |kind, allowed| {
        let mut setup = with(kind);
        setup.monitors[0].allowed_overrun = Some(d(allowed));
        setup.check().is_ok()
    };
    let range = || Kind::SpeedRange { low: d("-1"), high: d("1") };
    let each = || Kind::SpeedLimitEachWay { positive: d("1"), negative: d("1"), ramp: None };
    for kind in [speed_limit("1"), each(), range(), stop(by)] {
        assert!(checked(kind.clone(), "0.5") && checked(kind.clone(), "0"), "{kind:?}");
        assert!(!checked(kind, "-0.5"));
    }
    let others = [
        Kind::TorqueOff,
        Kind::Standstill { position_window: d("1"), speed_window: d("1") },
        Kind::Direction { allowed: Way::Positive, tolerance: d("1") },
        Kind::AccelerationLimit { limit: d("1") },
        Kind::AccelerationRange { low: d("-1"), high: d("1") },
        Kind::TravelLimit { increment: d("1") },
        stop(By::Time { within_ns: MS }),
        braking(d("1"), d("0")),
    ];
    for kind in others {
        assert!(!checked(kind.clone(), "0.5"), "{kind:?}");
    }
}
