//! What a person sees of a mistake in a setup file.

use super::support::refused;

#[test]
fn a_unit_of_something_else_is_underlined_alone() {
    let shown = refused(&[("limit    = \"250 mm/s\"", "limit = \"250 ms\"")]).render(false);
    let expected = r#"
error: `limit` of monitor "slow while the door is open": `ms` is a time; expected a speed such as mm/s, m/s, m/min
  --> axis.toml:43:14
   |
43 | limit = "250 ms"
   |              ^^ unit of something else
   |
   = help: use one of: mm/s, m/s, m/min, mm/min, in/s"#;
    assert_eq!(shown, expected.trim_start());
}

#[test]
fn a_limit_below_the_sensor_comes_with_the_numbers_that_would_do() {
    let shown = refused(&[("limit    = \"250 mm/s\"", "limit = \"0.1 mm/s\"")]).render(false);
    let expected = r#"
error: `limit` of monitor "slow while the door is open" is finer than channel b can resolve
  --> axis.toml:43:9
   |
43 | limit = "0.1 mm/s"
   |         ^^^^^^^^^^ less than one count over the window
   |
   = help: one count of channel b over the 8 ms window is 0.125 mm/s; a speed below it can never be told from standstill: raise `limit` to at least that, lengthen `window` of [speed] to at least 10 ms, or use a finer sensor"#;
    assert_eq!(shown, expected.trim_start());
}

#[test]
fn a_contradiction_shows_both_places() {
    let shown = refused(&[("latency        = \"0.25 ms\"", "latency = \"4 ms\"")]).render(false);
    let expected = r#"
error: `timeout` of [channel.b] is not longer than its `latency`
  --> axis.toml:22:18
   |
20 | latency = "4 ms"
   |           ------ every reading is this old when it arrives
21 | max_speed      = "3 m/s"
22 | timeout        = "4 ms"
   |                  ^^^^^^ 4 ms old is stale
   |
   = help: raise `timeout` well above 4 ms: latency, the time between two readings, and some reserve"#;
    assert_eq!(shown, expected.trim_start());
}

#[test]
fn several_mistakes_are_shown_in_the_order_of_the_file() {
    let error = refused(&[
        ("window = \"8 ms\"", "windw = \"8 ms\""),
        ("[\"door\"]", "[\"dor\"]"),
        ("\"0.25 ms\"", "\"250\""),
    ]);
    let expected = r#"
error: `latency` of [channel.b]: a number without a unit; expected a time such as us, ms, s
  --> axis.toml:20:19
   |
20 | latency        = "250"
   |                   ^^^ no unit
   |
   = help: write the unit behind the number, for example "10 ms"

error: [speed] has no `window`
  --> axis.toml:24:1
   |
24 | [speed]
   | ^^^^^^^ `window` is missing here
   |
   = help: add it, for example: window = "8 ms"

error: unknown key `windw` in [speed]
  --> axis.toml:25:1
   |
25 | windw = "8 ms"
   | ^^^^^ not known here
   |
   = help: did you mean `window`?

error: no input is called `dor`
  --> axis.toml:42:13
   |
42 | demand   = ["dor"]
   |             ^^^^^ unknown, and too near to a known name to be taken as a column
   |
   = help: did you mean `door`? If it is a column of the trace, declare it: [input.dor] columns = ["dor"]"#;
    assert_eq!(error.render(false), expected.trim_start());
    assert_eq!(
        error.to_string().lines().next(),
        Some(
            "axis.toml:20:19: `latency` of [channel.b]: a number without a unit; expected a time such as us, ms, s; \
             write the unit behind the number, for example \"10 ms\""
        )
    );
}

#[test]
fn colour_comes_only_when_asked_for() {
    let error = refused(&[("window = \"8 ms\"", "windw = \"8 ms\"")]);
    assert!(!error.render(false).contains('\u{1b}'));
    assert!(error.render(true).contains('\u{1b}'));
}
