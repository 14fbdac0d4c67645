//! Every mistake in a setup file is found at its place and said in words that help.
//!
//! Each row: what is changed in the example, and what must then be reported, as `line:column: message`.

use super::support::{check, varied};

type Row = (&'static [(&'static str, &'static str)], &'static [&'static str]);

fn check_rows(rows: &[Row]) {
    for (replacements, expected) in rows {
        check(&varied(replacements), expected);
    }
}

#[test]
fn what_is_wrong_with_the_setup_as_a_whole_is_found() {
    check_rows(&[
        (&[("title = \"Kiln shuttle 2, transfer axis\"\n", "")], &["1:1: the setup has no `title`"]),
        (
            &[("title = \"Kiln shuttle 2, transfer axis\"", "title = \" \"")],
            &["1:9: `title` of the setup is empty"],
        ),
        (
            &[("unit  = \"mm\"", "unit = \"inch\"\nspeeed = 3")],
            &["2:8: `unit` of the setup cannot be \"inch\"", "3:1: unknown key `speeed` in the setup"],
        ),
        (&[("unit  = \"mm\"", "unit = 5")], &["2:8: `unit` of the setup must be a string"]),
        (&[("unit  = \"mm\"", "unit = \"mm\"\nschema = 1")], &["3:1: unknown key `schema` in the setup"]),
        (&[("cycle = \"1 ms\"", "cycle = 1")], &["3:9: `cycle` of the setup must be a time with its unit"]),
        (
            &[("cycle = \"1 ms\"", "cycle = \"1 mm\"")],
            &["3:12: `cycle` of the setup: `mm` is a length; expected a time such as us, ms, s"],
        ),
        (&[("cycle = \"1 ms\"", "cycle = \"0 ms\"")], &["3:9: `cycle` of the setup must be above zero"]),
        (&[("cycle = \"1 ms\"", "cycle = [1]")], &["3:9: `cycle` of the setup must be a time with its unit"]),
        (
            &[("cycle = \"1 ms\"", "cycle = 1 ms")],
            &["3:9: not valid TOML: string values must be quoted, expected literal string"],
        ),
        (
            &[("cycle = \"1 ms\"", "cycle = \"1 ms")],
            &["3:14: not valid TOML: invalid basic string, expected `\"`"],
        ),
        (&[("cycle = \"1 ms\"", "cycle = \"1 ms\"\nunit = \"mm\"")], &["4:1: not valid TOML: duplicate key"]),
        (&[("[time]\ncolumn = \"time\"\nunit   = \"s\"", "")], &["1:1: the setup has no section [time]"]),
        (
            &[("[time]\n", "time = \"s\"\n[times]\n")],
            &["5:8: `time` of the setup must be a table", "6:2: unknown key `times` in the setup"],
        ),
        (
            &[("unit   = \"s\"", "unit = \"h\"")],
            &["7:8: `unit` of [time] cannot be h: a nanosecond is no decimal fraction of it"],
        ),
        (
            &[("unit   = \"s\"", "unit = \"sec\"")],
            &["7:9: `unit` of [time]: `sec` is not a known unit; expected a time such as us, ms, s"],
        ),
        (
            &[("unit   = \"s\"", "unit = \"mm\"")],
            &["7:9: `unit` of [time]: `mm` is a length; expected a time such as us, ms, s"],
        ),
        (&[("unit   = \"s\"", "unit = \"\"")], &["7:8: `unit` of [time] is empty; expected a time"]),
        (&[("unit   = \"s\"", "")], &["5:1: [time] has no `unit`"]),
    ]);
}

#[test]
fn what_is_wrong_with_a_channel_is_found() {
    check_rows(&[
        (
            &[("[channel.b]", "[chanel.b]")],
            &["9:2: [channel] has no section [channel.b]", "16:2: unknown key `chanel` in the setup"],
        ),
        (
            &[("[channel.b]", "[channel.c]")],
            &["9:2: [channel] has no section [channel.b]", "16:10: unknown key `c` in [channel]"],
        ),
        (
            &[("\"rail_count\"", "\"motor_count\"")],
            &[
                "17:18: the column `motor_count` is both the position of channel a and the position of channel b",
            ],
        ),
        (
            &[("\"rail_count\"", "\"time\"")],
            &["17:18: the column `time` is both the time of the rows and the position of channel b"],
        ),
        (
            &[("\"rail_count\"", "\"door_1\"")],
            &["33:21: the column `door_1` is both the position of channel b and a line of input `door`"],
        ),
        (&[("\"rail_count\"", "\"\"")], &["17:18: `column` of [channel.b] is empty"]),
        (&[("counter_bits   = 32\n", "")], &["9:1: [channel.a] has no `counter_bits`"]),
        (
            &[("unit_per_count = \"0.0005 mm\"\n", "")],
            &["11:1: [channel.a] has `counter_bits` but no `unit_per_count`"],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"\n", ""), ("counter_bits   = 32\n", "")],
            &["9:1: [channel.a] does not say what its column holds"],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"\n", "column_unit = \"mm\"\n")],
            &["11:1: [channel.a] is said to hold counts and positions at once"],
        ),
        (
            &[("counter_bits   = 32\n", "column_unit = \"mm\"\n")],
            &["12:1: [channel.a] is said to hold counts and positions at once"],
        ),
        (
            &[("counter_bits   = 32\n", ""), ("unit_per_count = \"0.0005 mm\"\n", "column_unit = \"deg\"\n")],
            &[
                "11:16: `column_unit` of [channel.a]: `deg` is an angle; expected a length such as um, mm, m, in",
            ],
        ),
        (
            &[("counter_bits   = 32", "counter_bits   = \"32\"")],
            &["11:18: `counter_bits` of [channel.a] must be an integer from 8 to 64"],
        ),
        (
            &[("counter_bits   = 32", "counter_bits   = 7")],
            &["11:18: `counter_bits` of [channel.a] must be 8 to 64"],
        ),
        (
            &[("counter_bits   = 32", "counter_bits   = 65")],
            &["11:18: `counter_bits` of [channel.a] must be 8 to 64"],
        ),
        (
            &[("counter_bits   = 32", "counter_bits   = -32")],
            &["11:18: `counter_bits` of [channel.a] must be 8 to 64"],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"", "unit_per_count = \"0.0005 deg\"")],
            &[
                "12:26: `unit_per_count` of [channel.a]: `deg` is an angle; expected a length such as um, mm, m, in",
            ],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"", "unit_per_count = \"0.0005\"")],
            &[
                "12:19: `unit_per_count` of [channel.a]: a number without a unit; expected a length such as um, mm, m, in",
            ],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"", "unit_per_count = \"0 mm\"")],
            &["12:18: `unit_per_count` of [channel.a] must not be zero"],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"", "unit_per_count = \"1e-11 mm\"")],
            &["12:18: `unit_per_count` of [channel.a] is smaller than 2^-34 mm"],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"", "unit_per_count = \"1 m\"")],
            &["12:18: `unit_per_count` of [channel.a] is too large"],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"", "unit_per_count = \"0,0005 mm\"")],
            &[
                "12:20: `unit_per_count` of [channel.a]: a comma in a number; write the decimal point as `.` and group no digits",
            ],
        ),
        (
            &[("unit_per_count = \"0.0005 mm\"", "unit_per_count = \"1/0 mm\"")],
            &["12:21: `unit_per_count` of [channel.a]: a fraction that divides by zero"],
        ),
        (
            &[("latency        = \"0.25 ms\"", "latency = \"4 ms\"")],
            &["22:18: `timeout` of [channel.b] is not longer than its `latency`"],
        ),
        (
            &[("cycle = \"1 ms\"", "cycle = \"5 ms\"")],
            &[
                "14:18: `timeout` of [channel.a] is shorter than the `cycle`",
                "22:18: `timeout` of [channel.b] is shorter than the `cycle`",
            ],
        ),
        (
            &[("latency        = \"0.25 ms\"", "latency = \"-1 ms\"")],
            &["20:11: `latency` of [channel.b] must not be negative"],
        ),
        (
            &[("latency        = \"0.25 ms\"", "capture_unit = \"us\"")],
            &["20:1: `capture_unit` of [channel.b]: there is no `capture_column`"],
        ),
        (
            &[("latency        = \"0.25 ms\"", "capture_column = \"rail_count\"")],
            &[
                "20:18: the column `rail_count` is both the position of channel b and the capture time of channel b",
            ],
        ),
        (
            &[("latency        = \"0.25 ms\"", "capture_column = \"rail_at\"\ncapture_unit = \"min\"")],
            &[
                "21:16: `capture_unit` of [channel.b] cannot be min: a nanosecond is no decimal fraction of it",
            ],
        ),
        (
            &[("latency        = \"0.25 ms\"", "sparse = \"yes\"\nvalid_column = \"motor_count\"")],
            &[
                "20:10: `sparse` of [channel.b] must be true or false",
                "21:16: the column `motor_count` is both the position of channel a and the validity of channel b",
            ],
        ),
        (
            &[("counter_bits   = 24", "counter_bits   = 8")],
            &["22:18: the counter of channel b cannot be unwrapped within its `timeout`"],
        ),
        (
            &[("timeout        = \"4 ms\"\n\n[channel.b]", "timeout = \"4.1 s\"\n[channel.b]")],
            &["14:11: `timeout` of [channel.a] must be at most 4 s"],
        ),
        (
            &[("timeout        = \"4 ms\"\n\n[channel.b]", "timeout = \"0.3 ns\"\n[channel.b]")],
            &["14:11: `timeout` of [channel.a] is smaller than the step of 1 ns it is held in"],
        ),
        (
            &[
                ("timeout        = \"4 ms\"\n\n[channel.b]", "timeout = \"3 s\"\n[channel.b]"),
                ("window = \"8 ms\"", "window = \"1.5 s\""),
            ],
            &["14:11: `timeout` of [channel.a] and the speed window together are too long"],
        ),
    ]);
}

#[test]
fn what_is_wrong_with_speed_and_discrepancies_is_found() {
    check_rows(&[
        (
            &[("window = \"8 ms\"", "window = \"0.09 ms\"")],
            &[
                "52:19: `speed_window` of monitor \"hold at the loading place\" is finer than channel b can resolve",
            ],
        ),
        (&[("window = \"8 ms\"", "window = \"5 us\"")], &["25:10: `window` of [speed] must be 10 us to 2 s"]),
        (
            &[("window = \"8 ms\"", "window = \"2.1 s\"")],
            &["25:10: `window` of [speed] must be 10 us to 2 s"],
        ),
        (
            &[("window = \"8 ms\"", "window = \"8 ms\"\nwarm_up = \"permitt\"")],
            &["26:11: `warm_up` of [speed] cannot be \"permitt\""],
        ),
        (
            &[("window = \"8 ms\"", "windw = \"8 ms\"")],
            &["24:1: [speed] has no `window`", "25:1: unknown key `windw` in [speed]"],
        ),
        (&[("[speed]\nwindow = \"8 ms\"\n", "")], &["1:1: the setup has no section [speed]"]),
        (
            &[("tolerance        = \"2 mm\"", "tolerance = \"0.9 um\"")],
            &["28:13: `tolerance` of [discrepancy] is finer than channel b can resolve"],
        ),
        (
            &[("tolerance        = \"2 mm\"", "tolerance = \"0 mm\"")],
            &["28:13: `tolerance` of [discrepancy] must be above zero"],
        ),
        (
            &[("tolerance        = \"2 mm\"", "tolerance = \"-2 mm\"")],
            &["28:13: `tolerance` of [discrepancy] must not be negative"],
        ),
        (
            &[("tolerance        = \"2 mm\"", "tolerance = \"1e-9 mm\"")],
            &[
                "28:13: `tolerance` of [discrepancy] is smaller than the step of 0.00000005961 mm it is held in",
            ],
        ),
        (
            &[("tolerance        = \"2 mm\"", "tolerance = \"1e12 mm\"")],
            &["28:13: `tolerance` of [discrepancy] is too large"],
        ),
        (
            &[("tolerance        = \"2 mm\"", "tolerance = \"2 \\u006Ds\"")],
            &["28:13: `tolerance` of [discrepancy]: `ms` is a time; expected a length such as um, mm, m, in"],
        ),
        (
            &[("skew_allowance   = \"1 ms\"", "skew_allowance = \"5 s\"")],
            &["29:18: `skew_allowance` of [discrepancy] must be at most 4 s"],
        ),
        (
            &[("skew_allowance   = \"1 ms\"", "align = 1")],
            &["29:9: `align` of [discrepancy] must be true or false"],
        ),
        (&[("discrepancy_time = \"20 ms\"\n", "")], &["27:1: [discrepancy] has no `discrepancy_time`"]),
        (
            &[("[speed]", "[speed_discrepancy]\ntolerance = \"0.1 mm/s\"\n[speed]")],
            &["24:1: [speed_discrepancy] has no `discrepancy_time`"],
        ),
        (
            &[(
                "[speed]",
                "[speed_discrepancy]\ntolerance = \"0.1 mm/s\"\ndiscrepancy_time = \"1 s\"\n[speed]",
            )],
            &["25:13: `tolerance` of [speed_discrepancy] is finer than channel b can resolve"],
        ),
    ]);
}

#[test]
fn what_is_wrong_with_an_input_or_a_demand_is_found() {
    check_rows(&[
        (
            &[("[\"door_1\", \"door_2\"]", "[\"door_1\", \"door_1\"]")],
            &["33:31: both channels of [input.door] are the column `door_1`"],
        ),
        (
            &[("[\"door_1\", \"door_2\"]", "[\"door_1\"]")],
            &[
                "34:1: `pairing` of [input.door]: the input has one column, so there is nothing to compare",
                "37:1: `discrepancy_time` of [input.door]: the input has one column, so there is nothing to compare",
            ],
        ),
        (&[("[\"door_1\", \"door_2\"]", "[]")], &["33:20: [input.door] must have one or two columns"]),
        (
            &[("[\"door_1\", \"door_2\"]", "[\"a\", \"b\", \"c\"]")],
            &["33:20: [input.door] must have one or two columns"],
        ),
        (
            &[("[\"door_1\", \"door_2\"]", "\"door_1\"")],
            &["33:20: `columns` of [input.door] must be a list of names"],
        ),
        (
            &[("[\"door_1\", \"door_2\"]", "[\"door_1\", 2]")],
            &["33:31: `columns` of [input.door] must be a list of names"],
        ),
        (
            &[("[\"door_1\", \"door_2\"]", "[\"door_1\", \"\"]")],
            &["33:31: `columns` of [input.door] is empty"],
        ),
        (&[("discrepancy_time = \"500 ms\"\n", "")], &["32:1: [input.door] has no `discrepancy_time`"]),
        (
            &[("demand           = \"low\"", "demand = \"lo\"")],
            &["35:10: `demand` of [input.door] cannot be \"lo\""],
        ),
        (&[("pairing          = \"equivalent\"\n", "")], &["32:1: [input.door] has no `pairing`"]),
        (
            &[("pairing          = \"equivalent\"", "pairing = \"equal\"")],
            &["34:11: `pairing` of [input.door] cannot be \"equal\""],
        ),
        (
            &[("[input.door]", "[input.door]\none_sided = \"ignored\"")],
            &["33:13: `one_sided` of [input.door] cannot be \"ignored\""],
        ),
        (&[("[\"door\"]", "[\"dor\"]")], &["42:13: no input is called `dor`"]),
        (
            &[("[\"door\"]", "[\"door_1\"]")],
            &["42:13: `door_1` is a line of input `door`, not a demand by itself"],
        ),
        (
            &[("[\"door\"]", "\"door\"")],
            &["42:12: `demand` of monitor \"slow while the door is open\" must be a list of names"],
        ),
        (
            &[("[\"door\"]", "[]")],
            &["42:12: `demand` of monitor \"slow while the door is open\" is an empty list"],
        ),
        (
            &[("[\"door\"]", "[\"door\", \"door\"]")],
            &["42:21: `demand` of monitor \"slow while the door is open\" names `door` twice"],
        ),
        (
            &[("[discrepancy]", "[reset]\ncolumn = \"door_1\"\n[discrepancy]")],
            &["28:10: the column `door_1` is both a line of input `door` and the reset"],
        ),
        (
            &[("[discrepancy]", "[reset]\nfilter = \"1 ms\"\n[discrepancy]")],
            &["27:1: [reset] has no `column`"],
        ),
    ]);
}

#[test]
fn what_is_wrong_with_a_monitor_is_found() {
    check_rows(&[
        (
            &[("limit    = \"250 mm/s\"", "limit = \"250 ms\"")],
            &[
                "43:14: `limit` of monitor \"slow while the door is open\": `ms` is a time; expected a speed such as mm/s, m/s, m/min",
            ],
        ),
        (
            &[("limit    = \"250 mm/s\"", "limit = 250")],
            &["43:9: `limit` of monitor \"slow while the door is open\" must be a speed with its unit"],
        ),
        (
            &[("limit    = \"250 mm/s\"", "limmit = \"250 mm/s\"")],
            &[
                "39:1: monitor \"slow while the door is open\" has no `limit`",
                "43:1: unknown key `limmit` in monitor \"slow while the door is open\"",
            ],
        ),
        (
            &[("limit    = \"250 mm/s\"", "limit = \"0.1 mm/s\"")],
            &["43:9: `limit` of monitor \"slow while the door is open\" is finer than channel b can resolve"],
        ),
        (
            &[("limit    = \"250 mm/s\"", "limit = \"4 m/s\"")],
            &["43:9: `limit` of monitor \"slow while the door is open\" is above `max_speed` of channel a"],
        ),
        (
            &[("margin = \"50 mm/s\"", "margin = \"50 mm/s\", jerk = \"1 m/s^2\"")],
            &[
                "44:88: `jerk` of the ramp of monitor \"slow while the door is open\": `m/s^2` is an acceleration; expected a jerk such as mm/s^3, m/s^3",
            ],
        ),
        (
            &[(", margin = \"50 mm/s\"", "")],
            &["44:12: the ramp of monitor \"slow while the door is open\" has no `margin`"],
        ),
        (
            &[("ramp     = { delay", "ramp = 3 # { delay")],
            &["44:8: `ramp` of monitor \"slow while the door is open\" must be a table"],
        ),
        (
            &[("on_delay = \"4 ms\"", "on_delay = \"4 ms\"\nalowed_overrun = \"1 mm\"")],
            &["46:1: unknown key `alowed_overrun` in monitor \"slow while the door is open\""],
        ),
        (&[("\"standstill\"", "\"stand-still\"")], &["49:19: \"stand-still\" is not a kind of monitor"]),
        (&[("\"standstill\"", "\"parking\"")], &["49:19: \"parking\" is not a kind of monitor"]),
        (&[("\"standstill\"", "\"torque-limits\"")], &["49:19: \"torque-limits\" is not a kind of monitor"]),
        (
            &[("\"standstill\"", "\"torque-off\"")],
            &[
                "51:1: unknown key `position_window` in monitor \"hold at the loading place\"",
                "52:1: unknown key `speed_window` in monitor \"hold at the loading place\"",
                "53:19: `on_delay` of monitor \"hold at the loading place\": the kind torque-off has no violation to delay",
            ],
        ),
        (
            &[("\"speed-limit\"", "\"torque-off\""), ("demand   = [\"door\"]\n", "")],
            &[
                "39:1: monitor \"slow while the door is open\" has no `demand`",
                "42:1: unknown key `limit` in monitor \"slow while the door is open\"",
                "43:1: unknown key `ramp` in monitor \"slow while the door is open\"",
            ],
        ),
        (
            &[("name            = \"hold at the loading place\"", "name = \"slow while the door is open\"")],
            &["48:8: two monitors are called \"slow while the door is open\""],
        ),
        (
            &[("position_window = \"1 mm\"", "position_window = \"0.5 um\"")],
            &[
                "51:19: `position_window` of monitor \"hold at the loading place\" is finer than channel b can resolve",
            ],
        ),
        (
            &[("speed_window    = \"10 mm/s\"", "speed_window = \"3001 mm/s\"")],
            &[
                "52:16: `speed_window` of monitor \"hold at the loading place\" is above `max_speed` of channel a",
            ],
        ),
        (
            &[("[[monitor]]\nname     =", "[[monitor]]\n[[monitor]]\nname     =")],
            &["39:1: [[monitor]] has no `name`", "39:1: [[monitor]] has no `kind`"],
        ),
    ]);
}

#[test]
fn what_is_wrong_with_a_stop_is_found() {
    check_rows(&[
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\n[[monitor]]\nname     =",
            )],
            &["39:1: monitor \"s\" has no `by`"],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"off\"\nby = \"time\"\n[[monitor]]\nname     =",
            )],
            &["39:1: monitor \"s\" has no `within`", "43:9: `until` of monitor \"s\" cannot be \"off\""],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nby = \"time\"\n[[monitor]]\nname     =",
            )],
            &["39:1: monitor \"s\" has no `until`", "39:1: monitor \"s\" has no `within`"],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"decelerate\"\n[[monitor]]\nname     =",
            )],
            &["44:6: `by` of monitor \"s\" cannot be \"decelerate\""],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"time\"\nwithin = \"0 s\"\nposition_window = \"1 mm\"\nspeed_window = \"1 mm/s\"\nstandstill_speed = \"3 mm/s\"\n[[monitor]]\nname     =",
            )],
            &[
                "45:10: `within` of monitor \"s\" must be above zero",
                "46:1: `position_window` of monitor \"s\": a stop until torque-off does not watch a standstill",
                "47:1: `speed_window` of monitor \"s\": a stop until torque-off does not watch a standstill",
                "48:1: `standstill_speed` of monitor \"s\": a stop by time watches no speed on the way",
            ],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"standstill\"\nby = \"ramp\"\n[[monitor]]\nname     =",
            )],
            &[
                "39:1: monitor \"s\" has no `position_window`",
                "39:1: monitor \"s\" has no `speed_window`",
                "39:1: monitor \"s\" has no `ramp`",
                "39:1: monitor \"s\" has no `standstill_speed`",
            ],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"ramp\"\nstandstill_speed = \"300 mm/s\"\nramp = { delay = \"1 ms\", deceleration = \"2 m/s^2\", margin = \"1 mm/s\" }\n[[monitor]]\nname     =",
            )],
            &[
                "45:20: `standstill_speed` of monitor \"s\" is not below `limit` of monitor \"slow while the door is open\"",
            ],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"ramp\"\nstandstill_speed = \"4 m/s\"\nramp = { delay = \"1 ms\", deceleration = \"2 m/s^2\", margin = \"1 mm/s\" }\n[[monitor]]\nname     =",
            )],
            &["45:20: `standstill_speed` of monitor \"s\" is above `max_speed` of channel a"],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"ramp\"\nstandstill_speed = \"30 mm/s\"\nramp = { delay = \"1 ms\", deceleration = \"0 m/s^2\", margin = \"1 mm/s\" }\n[[monitor]]\nname     =",
            )],
            &["46:41: `deceleration` of the ramp of monitor \"s\" must be above zero"],
        ),
        (
            &[(
                "[[monitor]]\nname     =",
                "[[monitor]]\nname = \"s\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"ramp\"\nstandstill_speed = \"30 mm/s\"\nramp = { delay = \"1 ms\", deceleration = \"2 m/s^2\", margin = \"140000000 m/s\" }\n[[monitor]]\nname     =",
            )],
            &["46:61: `margin` of the ramp of monitor \"s\" is too large"],
        ),
    ]);
}
