//! How far off a windowed speed or an acceleration can be read.

use monitor_core::Channel;

use super::amount::Amount;
use super::need::{Needs, count, letter, section};
use crate::decimal::{Exact, PI};
use crate::setup::Setup;

/// A part per 10⁹.
const BILLION: i128 = 1_000_000_000;

fn two_pi() -> Amount {
    Amount(Some(Exact::from_integer(2) * PI)).up()
}

/// The steps in which a channel sees speeds: one count over the window.
pub(super) fn step(count: Amount, window: Amount) -> Amount {
    count / window
}

/// How much too low a speed is read that rises steadily: by half the window.
pub(super) fn lag(acceleration: Amount, window: Amount) -> Amount {
    acceleration * window.half()
}

/// The window as it is set: the shortest over which a speed is measured.
pub(super) fn window(setup: &Setup) -> Amount {
    setup.speed.window.value.into()
}

/// The scale error as a share, zero with a note where it is not said.
pub(super) fn scale_error(needs: &mut Needs, setup: &Setup) -> Amount {
    let Some(parts) = &setup.sensors.scale_error else {
        needs.lacks("scale_error", "[sensors]");
        return Amount::ZERO;
    };
    Amount(Some(Exact::new(i128::from(parts.value), BILLION)))
}

/// What one channel reads a speed wrong by, either way, while the axis moves at `speed`: one count over the window, noise at both of
/// its ends, capture times that are off, eccentricity. As it is at `times` readings.
pub(super) fn of_speed(needs: &mut Needs, setup: &Setup, channel: Channel, speed: Amount, times: i128) {
    let sensor = setup.sensors.channel(channel);
    let (window, of) = (window(setup), section(channel));
    let named = |name: &str| format!("{name}, channel {}", letter(channel));
    let times = Amount::whole(times);
    needs.takes(named("one count over the window"), times * step(count(setup, channel), window));
    let noise = needs.want(sensor.noise.as_ref(), "noise", of);
    needs.takes(named("noise over the window"), times * (noise + noise) / window);
    let jitter = needs.want(sensor.jitter.as_ref(), "jitter", of);
    needs.takes(named("jitter of the capture times"), times * (jitter + jitter) * speed / window);
    match &sensor.eccentricity {
        None => needs.lacks("eccentricity", of),
        Some(sine) => {
            let slope = two_pi() * sine.amplitude.value.into() / sine.period.value.into();
            needs.takes(named("eccentricity"), times * slope.up() * speed);
        }
    }
}

/// The same of an acceleration: two counts over the square of the window, four ends of windows, and the curve of the eccentricity.
pub(super) fn of_acceleration(needs: &mut Needs, setup: &Setup, channel: Channel, speed: Amount) {
    let sensor = setup.sensors.channel(channel);
    let (square, of) = (window(setup).squared(), section(channel));
    let named = |name: &str| format!("{name}, channel {}", letter(channel));
    needs.takes(
        named("two counts over the window squared"),
        Amount::whole(2) * count(setup, channel) / square,
    );
    let noise = needs.want(sensor.noise.as_ref(), "noise", of);
    needs.takes(named("noise over the window squared"), Amount::whole(4) * noise / square);
    let jitter = needs.want(sensor.jitter.as_ref(), "jitter", of);
    needs.takes(named("jitter of the capture times"), Amount::whole(4) * jitter * speed / square);
    match &sensor.eccentricity {
        None => needs.lacks("eccentricity", of),
        Some(sine) => {
            let per_travel = (two_pi() / sine.period.value.into()).up();
            let curve = (per_travel * speed).up().squared() * sine.amplitude.value.into();
            needs.takes(named("eccentricity"), curve);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(above: i128, below: i128) -> Amount {
        Amount(Some(Exact::new(above, below)))
    }

    /// The usual formulas of counting in a fixed time (Ohmae and others, IEEE Transactions on Industrial Electronics IE-29, 1982; the formula
    /// from memory): 60 / (N T) rpm, with N = 4096 and 1 ms. In deg/s, of which 6 are 1 rpm.
    #[test]
    fn one_count_of_4096_over_a_millisecond_is_14_6484375_rpm() {
        let step = step(exact(360, 4096), exact(1, 1000));
        assert_eq!(step, exact(87_890_625, 1_000_000));
        assert_eq!(step / exact(6, 1), exact(146_484_375, 10_000_000));
    }

    /// Plain arithmetic on the same formula.
    #[test]
    fn one_micrometre_over_1_and_4_milliseconds_is_1_and_a_quarter_mm_s() {
        let steps = [1, 4].map(|millis| step(exact(1, 1000), exact(millis, 1000)));
        assert_eq!(steps, [exact(1, 1), exact(1, 4)]);
    }

    /// Plain arithmetic: 2 m/s² over half of 4 ms.
    #[test]
    fn a_window_of_4_ms_reads_an_axis_at_2_m_s2_by_4_mm_s_too_low() {
        assert_eq!(lag(exact(2000, 1), exact(4, 1000)), exact(4, 1));
    }
}
