//! What a machine is like, in a setup file: what no monitor reads.

use host_harness::setup::WaySetup;

use super::support::{EXAMPLE, below, error, parsed, ulps};

/// A third of a unit is 5592405.33 ULP: which way it was rounded can be seen.
const UP: i64 = (1 << 24) / 3 + 1;
const DOWN: i64 = (1 << 24) / 3;

#[test]
fn every_figure_is_rounded_towards_what_is_worse_for_the_axis() {
    let machine = "[machine]\nframe_period = \"1/3 ns\"\noutput_delay = \"1/3 ns\"\ndrive_delay = \"1/3 ns\"\n\
         brake_delay = \"1/3 ns\"\nmax_acceleration = \"1/3 mm/s^2\"\noperating_acceleration = \"1/3 mm/s^2\"\n\
         operating_speed = \"1/3 mm/s\"\nmax_travel = \"1/3 mm\"\nbrake_deceleration = \"1/3 mm/s^2\"\n\
         fall_acceleration = \"1/3 mm/s^2\"\novertravel = \"1/3 mm\"\n\
         [machine.operating_speeds]\n\"hold at the loading place\" = \"1/3 mm/s\"";
    // A time of less than a nanosecond would be nothing or one; rounded up it is one.
    let setup = parsed(&below(EXAMPLE, machine));
    let machine = &setup.machine;
    let times = [&machine.frame_period, &machine.output_delay, &machine.drive_delay, &machine.brake_delay];
    assert_eq!(times.map(|time| time.as_ref().map(|time| time.value.as_nanos())), [Some(1); 4]);
    let slopes = [&machine.max_acceleration, &machine.operating_acceleration, &machine.fall_acceleration];
    assert_eq!(slopes.map(|slope| slope.as_ref().map(|slope| slope.value.to_bits())), [Some(UP); 3]);
    let down = machine.brake_deceleration.as_ref().map(|slope| slope.value.to_bits());
    assert_eq!(down, Some(DOWN));
    assert_eq!(machine.operating_speed.as_ref().map(|speed| speed.value.to_bits()), Some(UP));
    let ways = [&machine.max_travel, &machine.overtravel];
    assert_eq!(ways.map(|way| way.as_ref().map(|way| way.value.to_bits())), [Some(UP), Some(DOWN)]);
    let [(monitor, speed)] = machine.operating_speeds.as_slice() else { panic!("one: {machine:?}") };
    assert_eq!((*monitor, speed.value.to_bits()), (1, UP));
}

#[test]
fn what_sensors_and_contacts_are_off_is_rounded_up_and_what_it_is_divided_by_down() {
    let sensors = "[sensors]\ntime_skew = \"1/3 ns\"\nscale_error = \"1/3 ppm\"\nbacklash = \"1/3 mm\"\ndrift = \"1/3 mm\"\n\
         compliance = { by = \"1/3 mm\", per = \"1/3 mm/s^2\" }\n\
         [sensors.b]\nperiod = \"1/3 ns\"\ndelay = \"1/3 ns\"\njitter = \"1/3 ns\"\nnoise = \"1/3 mm\"\n\
         eccentricity = { amplitude = \"1/3 mm\", period = \"1/3 mm\" }\n\
         [contacts]\nspread = \"1/3 ns\"\ntest_pulse = \"1/3 ns\"";
    let setup = parsed(&below(EXAMPLE, sensors));
    let (sensors, b) = (&setup.sensors, &setup.sensors.b);
    assert_eq!(setup.sensors.a, Default::default());
    let times = [
        &sensors.time_skew,
        &b.period,
        &b.delay,
        &b.jitter,
        &setup.contacts.spread,
        &setup.contacts.test_pulse,
    ];
    assert_eq!(times.map(|time| time.as_ref().map(|time| time.value.as_nanos())), [Some(1); 6]);
    let ways = [&sensors.backlash, &sensors.drift, &b.noise];
    assert_eq!(ways.map(|way| way.as_ref().map(|way| way.value.to_bits())), [Some(UP); 3]);
    // 333.3 parts of a billion.
    assert_eq!(sensors.scale_error.as_ref().map(|share| share.value), Some(334));
    let spring = sensors.compliance.as_ref().expect("one");
    assert_eq!((spring.by.value.to_bits(), spring.per.value.to_bits()), (UP, DOWN));
    let sine = b.eccentricity.as_ref().expect("one");
    assert_eq!((sine.amplitude.value.to_bits(), sine.period.value.to_bits()), (UP, DOWN));
}

#[test]
fn an_approach_is_in_mm_also_on_an_axis_that_turns() {
    let turns = EXAMPLE
        .replace("unit  = \"mm\"", "unit = \"deg\"")
        .replace("mm\"", "deg\"")
        .replace(" mm/s\"", " deg/s\"")
        .replace("m/s^2\"", "deg/s^2\"")
        .replace("3 m/s\"", "300 deg/s\"");
    let approach = "[approach]\nway = \"parallel\"\ninput = \"door\"\nheight = \"1/3 mm\"\nresolution = \"1/3 mm\"\n\
         distance = \"1/3 mm\"\ndetection_time = \"1/3 ns\"";
    let setup = parsed(&below(&turns, approach));
    let approach = setup.approach.as_ref().expect("one");
    assert_eq!(setup.inputs[approach.input].name, "door");
    assert_eq!(approach.distance.as_ref().map(|way| way.value.to_bits()), Some(DOWN));
    assert_eq!(approach.detection_time.as_ref().map(|time| time.value.as_nanos()), Some(1));
    let WaySetup::Parallel { height, resolution } = &approach.way else { panic!("{approach:?}") };
    assert_eq!((height.value.to_bits(), resolution.value.to_bits()), (DOWN, UP));
    assert_ne!(ulps(1), DOWN);
}

#[test]
fn an_approach_goes_by_an_input_that_there_is_and_brings_no_column_of_its_own() {
    let approach = |input: &str| below(EXAMPLE, &format!("[approach]\nway = \"mat\"\ninput = \"{input}\""));
    // A plain demand is an input too.
    assert_eq!(parsed(&approach("at_loading")).approach.map(|approach| approach.input), Some(1));
    let found = error(&approach("light_curtain"));
    let [mistake] = found.diagnostics() else { panic!("{found}") };
    assert_eq!(mistake.message, "no input of the setup is called \"light_curtain\"");
    assert_eq!(mistake.way_out, "known are \"door\", \"at_loading\"");
}
