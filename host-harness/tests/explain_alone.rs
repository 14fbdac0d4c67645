//! What it is that only one of the two channels broke a rule by.

mod explained;
mod program;

use explained::{Bench, SETUP, axis, head, out, rows};

/// At rest for 200 ms, then 2 m/s^2 up to 224 mm/s: the place in um at a time in ms.
fn place(ms: u32) -> f64 {
    let moving = f64::from(ms.saturating_sub(200));
    let to_speed = moving.min(112.0);
    to_speed * to_speed + 224.0 * (moving - to_speed)
}

#[test]
fn of_a_speed_it_is_what_differs_in_speed_and_not_what_is_largest_in_the_position() {
    // Readings of channel b are 2 ms old, as the setup says: 0.45 mm, and nothing in a speed that does not change. And 0.8 mm out of centre
    // on a wheel of 30 mm are 2 pi 0.8 / 30 of the speed, 37 mm/s to either side, most where they are nothing in the position.
    let setup = SETUP.replacen("limit    = \"250 mm/s\"", "limit    = \"257 mm/s\"", 1);
    let setup = setup.replacen("tolerance        = \"1 mm\"", "tolerance        = \"2 mm\"", 1);
    let (channel_a, rest) = setup.split_once("[channel.b]").expect("channel b");
    let rest = rest.replacen("timeout        = \"4 ms\"", "timeout        = \"8 ms\"\nlatency = \"2 ms\"", 1);
    let bench = Bench::new("ecc-speed", &format!("{channel_a}[channel.b]{rest}"));
    bench.write(
        "trace.csv",
        &rows(1400, |ms| {
            let (x, before) = (place(ms), place(ms.saturating_sub(2)));
            let turned = 800.0 * (std::f64::consts::TAU * before / 30_000.0).sin();
            (x.round() as i64, (before + turned).round() as i64)
        }),
    );
    let head = head(&out(&bench.explain(&[])));
    assert!(head.starts_with("UNDECIDED") && head.contains("Only channel b broke \"slow\""), "{head}");
    assert!(head.contains("eccentricity of channel b: 0.80"), "{head}");
    assert!(head.contains("the channels differ by up to 3"), "{head}");
}

#[test]
fn references_that_differ_are_told_where_places_are_compared() {
    // The switch tells channel a that it is at 0 mm where channel b knows 60 mm.
    let setup = axis()
        .replacen("timeout        = \"4 ms\"", "timeout        = \"4 ms\"\nreference = \"event\"", 1)
        .replacen("[speed]", "reference = \"absolute\"\noffset = \"0 mm\"\n[reference]\ninput = \"home\"\nposition = \"0 mm\"\n[speed]", 1);
    let setup = format!(
        "{setup}[input.home]\ncolumns = [\"home\"]\n[[monitor]]\nname = \"inside\"\nkind = \"position-range\"\nlow = \"-1000 mm\"\nhigh = \"100 mm\"\n"
    );
    let bench = Bench::new("references", &setup);
    let mut text = "time,motor,rail,home\n".to_owned();
    for ms in 0..600 {
        let x = place(ms);
        text += &format!("0.{ms:03},{x:.0},{:.0},{}\n", x + 60_000.0, u8::from(ms < 100));
    }
    bench.write("trace.csv", &text);
    let output = bench.explain(&[]);
    let head = head(&out(&output));
    assert!(head.contains("Only channel b broke \"inside\""), "{head}{}", program::err(&output));
    assert!(
        head.starts_with("RIGHT") && head.contains("the references of the channels differ by 60."),
        "{head}"
    );
}
