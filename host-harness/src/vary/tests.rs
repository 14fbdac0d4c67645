use super::*;

const SHUTTLE: &str = include_str!("../../../traces-demo/shuttle.toml");
const EVERY_FUNCTION: &str = include_str!("../../../traces-demo/every-function.setup.toml");
const CLAMP: &str = include_str!("../../../traces-demo/stack-clamp.setup.toml");
const OWN_CLOCKS: &str = include_str!("../../../traces-demo/asynchronous-readings.setup.toml");

fn base(text: &str) -> Base {
    Base::parse(text, "axis.toml").unwrap_or_else(|error| panic!("{error}"))
}

fn values(text: &str) -> Vec<String> {
    base(SHUTTLE).variation(text).unwrap_or_else(|error| panic!("{error}")).values().to_vec()
}

fn refused(text: &str) -> String {
    base(SHUTTLE).variation(text).map(|_| ()).unwrap_err().to_string()
}

/// Every string of a setup that reads as a number with a unit, with the keys that lead to it.
fn quantities(value: &toml::Value, keys: &mut Vec<String>, found: &mut Vec<(String, String)>) {
    match value {
        toml::Value::Table(table) => {
            // What the machine is like is no setting: no monitor reads it.
            let described = ["machine", "sensors", "contacts", "approach"];
            for (key, value) in table.iter().filter(|(key, _)| !described.contains(&key.as_str())) {
                keys.push(key.clone());
                quantities(value, keys, found);
                keys.pop();
            }
        }
        toml::Value::Array(list) => {
            for item in list {
                let Some(name) = item.get("name").and_then(toml::Value::as_str) else { continue };
                keys.push(name.to_owned());
                quantities(item, keys, found);
                keys.pop();
            }
        }
        toml::Value::String(text)
            if text.starts_with(|first: char| first.is_ascii_digit() || first == '-') =>
        {
            let keys: Vec<&str> = keys.iter().map(String::as_str).collect();
            found.push((Path::of(&keys).to_string(), text.clone()));
        }
        _ => {}
    }
}

#[test]
fn every_value_with_a_unit_in_the_demo_setups_can_be_varied_and_says_itself_again() {
    for text in [SHUTTLE, EVERY_FUNCTION, CLAMP, OWN_CLOCKS] {
        let base = base(text);
        let mut found = Vec::new();
        quantities(&toml::Value::Table(text.parse().unwrap()), &mut Vec::new(), &mut found);
        assert!(found.len() > 20);
        for (path, value) in found {
            let same = base.variation(&format!("{path}={value}")).unwrap_or_else(|error| panic!("{error}"));
            assert_eq!(same.written(), Some(value.as_str()), "{path}");
            assert_eq!(base.text_with(&[(&same, 0)]), text, "{path}");
        }
    }
}

#[test]
fn every_known_setting_is_one_of_the_setup_and_its_value_is_the_one_that_the_file_then_says() {
    for text in [SHUTTLE, EVERY_FUNCTION, CLAMP, OWN_CLOCKS] {
        let base = base(text);
        for known in &base.known {
            let value = match known.what {
                known::What::Quantity(dimension) => dimension.sample(),
                known::What::Word(words) => words[1],
            };
            let variation = base.variation(&format!("{}={value}", known.path)).unwrap();
            let changed = base.text_with(&[(&variation, 0)]);
            assert_eq!(edit::written(&changed, &known.path).as_deref(), Some(value), "{}", known.path);
            if let Err(error) = Setup::parse(&changed, "axis.toml") {
                // The value may be a bad one, but never of another sort than the setting has, nor at the wrong place.
                let why = error.to_string();
                let slips =
                    ["unknown key", "not valid TOML", "; expected ", "must be a string", "true or false"];
                assert!(!slips.iter().any(|slip| why.contains(slip)), "{}: {why}", known.path);
            }
        }
    }
}

#[test]
fn a_changed_setup_is_the_one_of_the_file_edited_by_hand() {
    let base = base(SHUTTLE);
    let tolerance = base.variation("discrepancy.tolerance=1 mm, 2.5 mm").unwrap();
    let delay = base.variation("monitor.\"slow while the door is open\".on_delay=6 ms").unwrap();
    let by_hand = SHUTTLE.replace("tolerance        = \"2 mm\"", "tolerance        = \"2.5 mm\"").replacen(
        "margin = \"50 mm/s\" }\non_delay = \"4 ms\"",
        "margin = \"50 mm/s\" }\non_delay = \"6 ms\"",
        1,
    );
    assert_ne!(by_hand, SHUTTLE);
    let by_hand = Setup::parse(&by_hand, "axis.toml").unwrap();
    let varied = base.with(&[(&tolerance, 1), (&delay, 0)]).unwrap();
    assert_eq!(varied.canonical(), by_hand.canonical());
    assert_eq!(varied.checksum(), by_hand.checksum());
    assert_ne!(varied.checksum(), base.setup().checksum());
}

#[test]
fn a_setting_that_the_file_leaves_out_is_set_in_its_section() {
    let base = base(SHUTTLE);
    for (text, line) in [
        (
            "channel.a.latency=0.1 ms",
            "[channel.a]                          # on the motor\nlatency = \"0.1 ms\"\n",
        ),
        ("discrepancy.align=true", "# belt, coupling, either encoder\nalign = true\n"),
        ("monitor.hold at the loading place.on_delay=1 ms", "on_delay        = \"1 ms\"\n"),
        (
            "monitor.\"emergency stop\".allowed_overrun=5 mm",
            "[[monitor]]\nallowed_overrun = \"5 mm\"\nname             = \"emergency stop\"",
        ),
        ("monitor.'emergency stop'.ramp.jerk=40 m/s^3", "{ jerk = \"40 m/s^3\", delay = \"50 ms\""),
    ] {
        let variation = base.variation(text).unwrap_or_else(|error| panic!("{error}"));
        let changed = base.text_with(&[(&variation, 0)]);
        assert!(changed.contains(line), "{text}: {changed}");
        Setup::parse(&changed, "axis.toml").unwrap_or_else(|error| panic!("{text}: {error}"));
    }
    let without = SHUTTLE.replace("cycle = \"1 ms\" ", "# ");
    let base = Base::parse(&without, "axis.toml").unwrap();
    let cycle = base.variation("cycle=2 ms").unwrap();
    assert_eq!(cycle.written(), None);
    assert_eq!(base.with(&[(&cycle, 0)]).unwrap().cycle.unwrap().value.as_nanos(), 2_000_000);
}

#[test]
fn what_a_check_of_the_setup_refuses_is_refused_as_in_a_file() {
    let base = base(SHUTTLE);
    let window = base.variation("speed.window=1 us, 8 ms").unwrap();
    let error = base.with(&[(&window, 0)]).unwrap_err().to_string();
    assert!(error.starts_with("axis.toml:3") && error.contains("window"), "{error}");
    assert!(base.with(&[(&window, 1)]).is_ok());
}

#[test]
fn a_range_has_the_decimals_that_somebody_would_have_typed() {
    assert_eq!(
        values("discrepancy.tolerance=1 mm..3 mm step 0.5 mm"),
        ["1 mm", "1.5 mm", "2 mm", "2.5 mm", "3 mm"]
    );
    // A tenth is no binary fraction: ten steps of it are one all the same.
    assert_eq!(values("discrepancy.tolerance=0 mm..1 mm step 0.1 mm").len(), 11);
    assert_eq!(values("discrepancy.tolerance=0 mm..1 mm step 0.1 mm")[3], "0.3 mm");
    assert_eq!(
        values("discrepancy.tolerance=1 mm..2 mm step 300 um"),
        ["1 mm", "1.3 mm", "1.6 mm", "1.9 mm"]
    );
    assert_eq!(values("speed.window=8ms .. 0.01 s step 1 ms"), ["8 ms", "9 ms", "10 ms"]);
    assert_eq!(values("discrepancy.tolerance=1 mm..2 mm step 1 mm, 5 mm"), ["1 mm", "2 mm", "5 mm"]);
    assert_eq!(values("discrepancy.tolerance=2 mm..2 mm step 1 mm"), ["2 mm"]);
    assert_eq!(values("discrepancy.tolerance=1/3 mm..1 mm step 1/3 mm"), ["1/3 mm", "2/3 mm", "1 mm"]);
    assert_eq!(values("discrepancy.align=true, false"), ["true", "false"]);
    assert_eq!(values("speed.warm_up=permit"), ["permit"]);
}

#[test]
fn values_that_cannot_be_are_refused_with_a_way_out() {
    for (text, expected) in [
        (
            "discrepancy.tolerance=1, 2",
            "`1`: a number without a unit; expected a length such as um, mm, m, in; write the unit behind the number",
        ),
        ("discrepancy.tolerance=1 ms", "`1 ms`: `ms` is a time; expected a length"),
        ("discrepancy.tolerance=1 mm..3 mm", "has no step; write it behind, for example: step 1 mm"),
        ("discrepancy.tolerance=1 mm..3 mm step 0 mm", "is not above zero"),
        ("discrepancy.tolerance=1 mm..3 mm step -1 mm", "is not above zero"),
        ("discrepancy.tolerance=3 mm..1 mm step 1 mm", "ends before it begins; exchange its ends"),
        (
            "discrepancy.tolerance=0 mm..1 mm step 1 um, 2 mm..20 mm step 1 um",
            "more than 10000 values; take a longer step",
        ),
        ("discrepancy.tolerance=0 mm..1 mm step 1e-9 mm", "more than 10000 values; take a longer step"),
        ("discrepancy.tolerance=1 mm, 1000 um", "`1000 um` is there twice, as `1 mm`"),
        ("discrepancy.tolerance=1 mm,,2 mm", "a value is missing"),
        ("discrepancy.tolerance=", "a value is missing"),
        ("discrepancy.align=yes", "cannot be `yes`; it may be true or false"),
        ("speed.warm_up=permitt", "did you mean `permit`?"),
        ("discrepancy.tolerance", "there is no `=`"),
        ("monitor.\"emergency stop.on_delay=1 ms", "a quote is not closed"),
        (".tolerance=1 mm", "a part of the name is empty"),
    ] {
        let error = refused(text);
        assert!(error.contains(expected), "{text}: {error}");
        assert!(error.starts_with("--vary "), "{error}");
    }
}

#[test]
fn a_setting_that_is_not_there_is_answered_with_the_nearest_that_is() {
    for (text, expected) in [
        ("discrepancy.tolerence=1 mm", "did you mean `discrepancy.tolerance`?"),
        ("chanel.a.timeout=1 ms", "did you mean `channel.a.timeout`?"),
        ("timeout=1 ms", "use `channel.a.timeout` or `channel.b.timeout`"),
        (
            "monitor.on_delay=1 ms",
            "which monitor? Several have `on_delay`: write `monitor.\"fastest the belt may run\".on_delay` or",
        ),
        (
            "monitor.standstill_speed=1 mm/s",
            "which monitor? Write `monitor.\"emergency stop\".standstill_speed`",
        ),
        ("monitor.\"emergncy stop\".within=1 s", "did you mean `monitor.\"emergency stop\".within`?"),
        ("monitor.\"emergency stop\".withn=1 s", "did you mean `monitor.\"emergency stop\".within`?"),
        ("monitor.\"emergency stop\".limit=1 mm/s", "use `monitor.\"fastest the belt may run\".limit`"),
        (
            "monitor.nope.limit=1 mm/s",
            "there is no monitor \"nope\"; use `monitor.\"fastest the belt may run\".limit` or",
        ),
        (
            "monitor.nope.nothing=1 mm/s",
            "there is no monitor \"nope\"; the setup has \"fastest the belt may run\", ",
        ),
        ("title=x", "it has cycle, "),
        ("input.at_loading.filter=1 ms", "use `input.door.filter`"),
    ] {
        let error = refused(text);
        assert!(error.contains(expected), "{text}: {error}");
    }
}

#[test]
fn a_name_with_a_quote_a_point_or_an_equals_sign_is_found_in_quotes() {
    let named = SHUTTLE.replace("\"emergency stop\"", "'a \"b\".c = d'");
    let base = base(&named);
    let variation = base.variation("monitor.\"a \\\"b\\\".c = d\".within=2 s").unwrap();
    assert_eq!(variation.path().keys()[1], "a \"b\".c = d");
    let again = base.variation(&format!("{}=3 s", variation.path())).unwrap();
    assert_eq!(again.path(), variation.path());
    assert!(base.with(&[(&again, 0)]).is_ok());
}

#[test]
fn settings_are_found_however_their_section_is_written() {
    let section = "[speed]\nwindow = \"8 ms\"\n";
    let reset = "[reset]\ncolumn = \"reset\"\nfilter = \"3 ms\"\n";
    assert!(SHUTTLE.contains(section) && SHUTTLE.contains(reset));
    let with = |speed: &str| SHUTTLE.replace(section, "").replace("[time]\n", &format!("{speed}\n[time]\n"));
    for (speed, has_room) in [
        ("speed = { window = \"8 ms\" }", true),
        ("speed = {window=\"8 ms\"}", true),
        ("[  speed ] # how\nwindow = '8 ms'", true),
        ("[speed]\r\nwindow = \"\"\"8 ms\"\"\"\r\n", true),
        ("[\"speed\"]\nwindow = \"8 ms\"", true),
        ("speed.window = \"8 ms\"", false),
    ] {
        let base = base(&with(speed));
        let window = base.variation("speed.window=9 ms").unwrap();
        assert_eq!(window.written(), Some("8 ms"), "{speed}");
        let varied = base.with(&[(&window, 0)]).unwrap_or_else(|error| panic!("{speed}: {error}"));
        assert_eq!(varied.speed.window.value.as_nanos(), 9_000_000, "{speed}");
        // A key that is left out has a place in a section, but not among keys with points.
        let warm_up = base.variation("speed.warm_up=permit");
        assert_eq!(warm_up.is_ok(), has_room, "{speed}");
        if let Ok(warm_up) = warm_up {
            let varied = base.with(&[(&warm_up, 0)]).unwrap_or_else(|error| panic!("{speed}: {error}"));
            assert_eq!(varied.speed.warm_up, crate::setup::WarmUp::Permit, "{speed}");
        }
    }
    // A section that ends the file without a line end.
    let last = SHUTTLE.replace(reset, "").trim_end().to_owned() + "\n[reset]\ncolumn = \"reset\"";
    let base = base(&last);
    let filter = base.variation("reset.filter=5 ms").unwrap();
    assert_eq!(base.with(&[(&filter, 0)]).unwrap().reset.unwrap().filter.value.as_nanos(), 5_000_000);
}
