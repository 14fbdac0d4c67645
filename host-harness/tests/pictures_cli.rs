//! What is drawn of a trace, as a user gets it: the numbers of `--plot`, the pictures of `--svg` and `--png`, and the one in the text.

use std::path::{Path, PathBuf};
use std::process::Output;

use resvg::tiny_skia::Pixmap;
use resvg::usvg::roxmltree::Document;
use serde::Deserialize;
use serde_json::Value;
use serde_json::value::RawValue;
use unicode_width::UnicodeWidthStr;

#[path = "program/mod.rs"]
mod program;
use program::{cowitness, err, out};

/// The clock of the long trace counts from an epoch, in ns.
const EPOCH: u64 = 1_700_000_000_000_000_123;
const FRAMES: u64 = 40_000;

/// A folder of its own for one test.
struct Bench(PathBuf);

impl Bench {
    fn new(name: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("pictures-{name}"));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).unwrap();
        Self(folder)
    }

    fn path(&self, name: &str) -> String {
        self.0.join(name).to_str().unwrap().to_owned()
    }

    fn write(&self, name: &str, content: &str) -> String {
        std::fs::write(self.0.join(name), content).unwrap();
        self.path(name)
    }

    fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.0.join(name)).unwrap()
    }

    /// An axis that is too fast for 60 ms, long enough that its trace is thinned.
    fn long(&self) -> [String; 2] {
        [
            self.write("axis.toml", &setup("A long trace, invented", "not too fast", "motor")),
            self.trace("motor"),
        ]
    }

    fn trace(&self, column: &str) -> String {
        let quoted = format!("\"{}\"", column.replace('"', "\"\""));
        let mut rows = format!("time,{quoted},rail\n");
        let mut counts = 0_u64;
        for frame in 0..FRAMES {
            counts += if (30_000..30_060).contains(&frame) { 300 } else { 100 };
            let now = EPOCH + frame * 1_000_000;
            rows += &format!("{}.{:09},{counts},{counts}\n", now / 1_000_000_000, now % 1_000_000_000);
        }
        self.write("long.csv", &rows)
    }
}

fn setup(title: &str, monitor: &str, column: &str) -> String {
    let channel = |column: &str| {
        format!(
            "column = {column:?}\ncounter_bits = 32\nunit_per_count = \"0.001 mm\"\nmax_speed = \"3 m/s\"\ntimeout = \"4 ms\"\n"
        )
    };
    format!(
        "title = {title:?}\nunit = \"mm\"\n[time]\ncolumn = \"time\"\nunit = \"s\"\n[channel.a]\n{}[channel.b]\n{}\
         [speed]\nwindow = \"8 ms\"\n[discrepancy]\ntolerance = \"2 mm\"\ndiscrepancy_time = \"20 ms\"\n\
         [[monitor]]\nname = {monitor:?}\nkind = \"speed-limit\"\nlimit = \"250 mm/s\"\non_delay = \"4 ms\"\n",
        channel(column),
        channel("rail")
    )
}

fn ran(args: &[&str]) -> Output {
    let output = cowitness(args);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{args:?}: {}", err(&output));
    output
}

const DEMO: [&str; 3] = ["traces-demo/overspeed-door-open.csv.gz", "--setup", "traces-demo/shuttle.toml"];

#[derive(Deserialize)]
struct Plot {
    decided: Vec<Decided>,
}

#[derive(Deserialize)]
struct Decided {
    trip: usize,
    demand_s: Box<RawValue>,
    crossed_s: Box<RawValue>,
    tripped_s: Box<RawValue>,
    observed: Box<RawValue>,
    limit: Box<RawValue>,
    t_s: Vec<Box<RawValue>>,
    a: Compared,
    b: Compared,
}

#[derive(Deserialize)]
struct Compared {
    observed: Vec<Option<f64>>,
    limit: Vec<Option<f64>>,
}

#[derive(Deserialize)]
struct Report {
    trips: Vec<Trip>,
}

#[derive(Deserialize)]
struct Trip {
    channel: String,
    demand_s: Box<RawValue>,
    crossed_s: Box<RawValue>,
    tripped_s: Box<RawValue>,
    observed: Box<RawValue>,
    limit: Box<RawValue>,
}

/// The last step of a value in a report.
const ULP: f64 = 1.0 / (1_u64 << 24) as f64;

#[test]
fn the_numbers_of_a_plot_are_those_that_the_trips_of_the_report_were_decided_by() {
    let bench = Bench::new("numbers");
    let [axis, long] = bench.long();
    let lines = ["traces-demo/stack-clamp-lines-apart.csv.gz", "traces-demo/stack-clamp.setup.toml"];
    let of = [("demo", DEMO[0], DEMO[2], 2), ("long", &long, &axis, 2), ("lines", lines[0], lines[1], 1)];
    for (name, trace, setup, least) in of {
        let (plot, report) =
            (bench.path(&format!("{name}.json")), bench.path(&format!("{name}.report.json")));
        ran(&["replay", trace, "--setup", setup, "--plot", &plot, "--json", &report]);
        let plot: Plot = serde_json::from_str(&std::fs::read_to_string(plot).unwrap()).unwrap();
        let report: Report = serde_json::from_str(&std::fs::read_to_string(report).unwrap()).unwrap();
        assert!(plot.decided.len() >= least && plot.decided.len() == report.trips.len(), "{name}");
        for of in &plot.decided {
            let trip = &report.trips[of.trip - 1];
            // As text: a float does not hold a time in ns since an epoch.
            assert_eq!(of.demand_s.get(), trip.demand_s.get());
            assert_eq!(of.crossed_s.get(), trip.crossed_s.get());
            assert_eq!(of.tripped_s.get(), trip.tripped_s.get());
            assert_eq!(of.observed.get(), trip.observed.get());
            assert_eq!(of.limit.get(), trip.limit.get());
            let place = of.t_s.iter().position(|at| at.get() == trip.tripped_s.get()).expect("the frame");
            let side = if trip.channel == "b" { &of.b } else { &of.a };
            let (observed, limit) = (side.observed[place].unwrap(), side.limit[place].unwrap());
            assert!((observed - trip.observed.get().parse::<f64>().unwrap()).abs() < ULP, "{observed}");
            assert!((limit - trip.limit.get().parse::<f64>().unwrap()).abs() < ULP, "{limit}");
        }
    }
}

#[test]
fn a_plot_as_csv_has_exact_times_and_a_row_for_every_frame_around_the_trip() {
    let bench = Bench::new("csv");
    let [axis, trace] = bench.long();
    let (plot, report) = (bench.path("plot.csv"), bench.path("report.json"));
    ran(&["replay", &trace, "--setup", &axis, "--plot", &plot, "--json", &report]);
    let text = bench.read("plot.csv");
    let mut lines = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let heads = lines.next().unwrap();
    assert_eq!(heads[..5], ["first_s", "last_s", "frames", "speed_a_low", "speed_a_high"]);
    assert!(
        heads.contains(&"monitor:not too fast_low") && heads.contains(&"permit:permit_high"),
        "{heads:?}"
    );
    assert!(!heads.contains(&"window_low_a_low"), "never has a value: {heads:?}");
    let rows: Vec<_> = lines.collect();
    let nanos = |text: &str| {
        let (whole, rest) = text.split_once('.').unwrap();
        assert_eq!(rest.len(), 9, "{text}");
        whole.parse::<u64>().unwrap() * 1_000_000_000 + rest.parse::<u64>().unwrap()
    };
    assert_eq!(rows[0][0], "1700000000.000000123");
    assert_eq!(nanos(rows.last().unwrap()[1]), EPOCH + (FRAMES - 1) * 1_000_000);
    let mut frames = 0;
    for (place, row) in rows.iter().enumerate() {
        assert_eq!(row.len(), heads.len());
        let (first, last, count) = (nanos(row[0]), nanos(row[1]), row[2].parse::<u64>().unwrap());
        assert_eq!(last - first, (count - 1) * 1_000_000, "{row:?}");
        assert!(place == 0 || nanos(rows[place - 1][1]) < first, "in order of time: {row:?}");
        frames += count;
    }
    let most = rows.iter().map(|row| row[2].parse::<u64>().unwrap()).max().unwrap();
    assert!(most > 1 && frames == FRAMES, "each frame is in one row: {frames}, {most}");
    let report: Report = serde_json::from_str(&bench.read("report.json")).unwrap();
    let tripped = report.trips[0].tripped_s.get();
    let place = rows.iter().position(|row| row[0] == tripped).expect("the frame of the trip");
    assert!(rows[place - 500..place + 500].iter().all(|row| row[2] == "1"), "a row for every frame");
    let observed: f64 = report.trips[0].observed.get().parse().unwrap();
    let speed: f64 = rows[place][3].parse().unwrap();
    assert!((speed.abs() - observed).abs() < 1e-6, "{speed} {observed}");
}

/// Names that would end the text they stand in.
const TITLE: &str = "</text><script>alert(\"1\")</script> & ]]> <!-- \u{1F600}";
const NAME: &str = "\u{5F00}\u{95E8}\u{65F6}\u{7684}\u{9650}\u{901F}</desc></title><script>x</script>, 'slow' \
     \u{0394}\u{5BF9}\u{6E29}\u{5EA6}\u{4F20}\u{611F}\u{5668}\u{7684}\u{76D1}\u{63A7}\u{8FDB}\u{884C}\u{68C0}\u{67E5}";
const COLUMN: &str = "</text><script>motor\"";

fn hostile(bench: &Bench) -> [String; 2] {
    [bench.write("hostile.toml", &setup(TITLE, NAME, COLUMN)), bench.trace(COLUMN)]
}

#[test]
fn whatever_the_names_are_a_picture_is_well_formed_xml_with_them_as_text() {
    let bench = Bench::new("xml");
    let [axis, trace] = hostile(&bench);
    let (svg, plot, data) = (bench.path("it.svg"), bench.path("it.csv"), bench.path("it.json"));
    ran(&["replay", &trace, "--setup", &axis, "--svg", &svg, "--plot", &plot]);
    let text = bench.read("it.svg");
    let document = Document::parse(&text).unwrap_or_else(|error| panic!("{error}:\n{text}"));
    let allowed =
        ["svg", "title", "desc", "defs", "pattern", "path", "rect", "line", "text", "clipPath", "g"];
    for node in document.descendants().filter(|node| node.is_element()) {
        assert!(allowed.contains(&node.tag_name().name()), "{:?}", node.tag_name());
        assert!(node.attributes().all(|of| !of.name().starts_with("on") && of.name() != "href"));
    }
    let texts: Vec<_> =
        document.descendants().filter(|node| node.is_text()).filter_map(|node| node.text()).collect();
    assert!(texts.contains(&TITLE), "{texts:?}");
    assert!(texts.iter().any(|text| text.contains("Trip 1") && text.contains(NAME)), "{texts:?}");
    let caution: Vec<_> =
        texts.iter().filter(|text| text.contains("not a certified safety component")).collect();
    assert_eq!(caution.len(), 1);
    // A name with a comma and quotes is one cell.
    let head = bench.read("it.csv");
    assert!(head.lines().next().unwrap().contains(&format!("\"monitor:{NAME}_low\"")), "{head:.900}");
    ran(&["explain", &trace, "--setup", &axis, "--plot", &data]);
    let data: Value = serde_json::from_str(&bench.read("it.json")).unwrap();
    assert_eq!(data["setup"]["title"], TITLE);
    assert_eq!(data["decided"][0]["rule"], NAME);
}

#[test]
fn a_picture_in_pixels_is_twice_as_large_as_its_svg_and_not_empty() {
    let bench = Bench::new("png");
    let [axis, trace] = hostile(&bench);
    let (svg, png) = (bench.path("it.svg"), bench.path("it.png"));
    ran(&["replay", &trace, "--setup", &axis, "--svg", &svg, "--png", &png]);
    let text = bench.read("it.svg");
    let document = Document::parse(&text).unwrap();
    let side = |name| document.root_element().attribute(name).unwrap().parse::<u32>().unwrap();
    let pixels = Pixmap::load_png(&png).unwrap();
    assert_eq!((pixels.width(), pixels.height()), (2 * side("width"), 2 * side("height")));
    let colours = |red: u8, green: u8, blue: u8| {
        let is_it = |at: &&resvg::tiny_skia::PremultipliedColorU8| {
            at.red().abs_diff(red) < 8 && at.green().abs_diff(green) < 8 && at.blue().abs_diff(blue) < 8
        };
        pixels.pixels().iter().filter(is_it).count()
    };
    // White paper, channel a, channel b, the line of the trip, and letters.
    for (colour, least) in [
        ((255, 255, 255), 100_000),
        ((0, 0x72, 0xb2), 500),
        ((0xd5, 0x5e, 0), 500),
        ((0xb0, 0, 0x6d), 500),
        ((0x22, 0x22, 0x22), 2000),
    ] {
        let found = colours(colour.0, colour.1, colour.2);
        assert!(found > least, "{colour:?}: {found}");
    }
}

#[test]
fn the_picture_in_the_text_has_at_most_80_columns_and_on_a_pipe_only_ascii_of_its_own() {
    let bench = Bench::new("text");
    let [axis, trace] = hostile(&bench);
    let [plain, _] = bench.long();
    for (axis, is_ascii) in [(&axis, false), (&plain, true)] {
        let trace = if is_ascii { bench.trace("motor") } else { bench.trace(COLUMN) };
        for command in ["replay", "explain"] {
            let output = ran(&[command, &trace, "--setup", axis, "--picture"]);
            let (_, pictures) = out(&output).split_once("\nPictures\n").expect("pictures");
            let (pictures, _) =
                pictures.split_once("\nA reference and an analysis aid").expect("the caution");
            assert!(pictures.lines().count() >= 13, "{pictures}");
            for line in pictures.lines() {
                assert!(line.width() <= 80, "{} columns: {line}", line.width());
                assert!(!is_ascii || line.is_ascii(), "{line}");
            }
            let panel: String = pictures.lines().filter(|line| line.contains('|')).collect();
            assert!(panel.contains('*') && panel.contains('-'), "{pictures}");
        }
    }
    let trips = ran(&["replay", &trace, "--setup", &plain, "--picture"]);
    let found = out(&trips).split_once("\nPictures\n").expect("pictures").1;
    assert!(found.contains("  Trip 1 at ") && !found.contains("  Trip 2 at "), "b only confirms it: {found}");
    let _ = trace;
}

#[test]
fn a_picture_changes_nothing_in_the_report() {
    let bench = Bench::new("same");
    let plain = ran(&[["replay"].as_slice(), &DEMO].concat());
    let svg = bench.path("it.svg");
    let drawn = ran(&[["replay"].as_slice(), &DEMO, &["--svg", &svg]].concat());
    assert_eq!(out(&plain), out(&drawn));
    assert!(!out(&plain).contains("Pictures"));
    let pictured = ran(&[["replay"].as_slice(), &DEMO, &["--picture"]].concat());
    let (report, _) = out(&pictured).split_once("\nPictures\n").expect("pictures");
    assert!(out(&plain).starts_with(report));
}

#[test]
fn nothing_that_is_read_in_the_same_run_is_overwritten() {
    let bench = Bench::new("inputs");
    let [axis, trace] = bench.long();
    let before = (bench.read("axis.toml"), bench.read("long.csv"));
    for command in ["replay", "explain"] {
        for option in ["--svg", "--png", "--plot"] {
            for input in [&axis, &trace] {
                let output = cowitness(&[command, &trace, "--setup", &axis, option, input]);
                assert_eq!(output.status.code(), Some(2), "{command} {option} {input}");
                let says = if option == "--plot" && input == &axis {
                    "name a file that ends with .json or .csv"
                } else {
                    "is read in the same run and would be overwritten"
                };
                assert!(err(&output).contains(says), "{}", err(&output));
            }
        }
    }
    assert!(before == (bench.read("axis.toml"), bench.read("long.csv")));
}

#[test]
fn what_cannot_be_written_where_it_is_asked_for_is_refused_with_what_to_do() {
    let bench = Bench::new("refused");
    let (one, folder) = (bench.path("one.svg"), bench.path(""));
    let two = [DEMO[0], "traces-demo/clean-run.csv.gz", DEMO[1], DEMO[2]];
    let refused = |command: &str, traces: &[&str], more: &[&str], says: &str| {
        let output = cowitness(&[&[command], traces, more].concat());
        assert_eq!(output.status.code(), Some(2), "{more:?}");
        assert!(err(&output).contains(says), "{more:?}: {}", err(&output));
        assert!(out(&output).is_empty());
    };
    refused("replay", &DEMO, &["--plot", "it.txt"], "name a file that ends with .json or .csv");
    refused("explain", &DEMO, &["--plot", "-"], "name a file that ends with .json or .csv");
    refused("replay", &two, &["--plot", "it.csv"], "--plot takes one trace");
    refused("replay", &two, &["--svg", "-"], "--svg -: standard output takes one file");
    refused("replay", &two, &["--png", &one], "--png takes a folder that there is");
    refused("replay", &DEMO, &["--svg", "-", "--png", "-"], "name two files");
    refused("explain", &DEMO, &["--svg", "-", "--json", "-"], "name two files");
    refused("explain", &DEMO, &["--svg", &one, "--png", &one], "name two files");
    let crossed = ["--png", "x.svg", "--svg", "x.png"];
    refused("replay", &DEMO, &crossed, "--svg writes SVG, and the name ends with .png; end it with .svg, or");
    refused("explain", &DEMO, &["--png", "x.svg"], "--png writes PNG, and the name ends with .svg; end");
    refused("explain", &DEMO, &["--trip", "99", "--svg", &one], "--trip 99");
    // What the trace came to is told all the same.
    let output = cowitness(&[&["replay"], &DEMO[..], &["--svg", "no/such/folder.svg"]].concat());
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("check the path given with --svg"), "{}", err(&output));
    assert!(out(&output).contains("TRIPPED"), "{}", out(&output));
    let both = ran(&[["replay"].as_slice(), &two, &["--svg", &folder]].concat());
    assert_eq!(err(&both), "");
    for name in ["overspeed-door-open.csv.gz.svg", "clean-run.csv.gz.svg"] {
        assert!(Document::parse(&bench.read(name)).is_ok(), "{name}");
    }
}

#[test]
fn to_standard_output_goes_the_picture_and_nothing_else() {
    let svg = ran(&[["replay"].as_slice(), &DEMO, &["--svg", "-"]].concat());
    let document = Document::parse(out(&svg)).expect("XML");
    assert_eq!(document.root_element().tag_name().name(), "svg");
    let png = ran(&[["explain"].as_slice(), &DEMO, &["--png", "-"]].concat());
    assert!(Pixmap::decode_png(&png.stdout).is_ok());
}

#[test]
fn the_trip_that_was_asked_for_is_the_one_in_the_picture() {
    let of = |more: &[&str]| {
        let output = ran(&[["explain"].as_slice(), &DEMO, more, &["--svg", "-"]].concat());
        out(&output).to_owned()
    };
    let (first, second) = (of(&["--trip", "1"]), of(&["--trip", "2"]));
    assert!(first.contains("Trip 1 at") && !first.contains("Trip 2 at"));
    assert!(second.contains("Trip 2 at") && !second.contains("Trip 1 at"));
    assert!(of(&[]).contains("Trip 1 at"), "the one that took the permit");
    let planned = ran(&["replay", "traces-demo/clean-run.csv.gz", DEMO[1], DEMO[2], "--svg", "-"]);
    assert!(out(&planned).contains("Torque off as planned at "), "nothing tripped there");
    let bench = Bench::new("whole");
    let rows: String = (0..200).map(|k| format!("0.{k:03},{k},{k}\n")).collect();
    let calm = bench.write("calm.csv", &format!("time,motor,rail\n{rows}"));
    let axis = bench.write("axis.toml", &setup("Calm, invented", "not too fast", "motor"));
    let whole = ran(&["replay", &calm, "--setup", &axis, "--svg", "-"]);
    assert!(out(&whole).contains(">The whole trace<"), "nothing happened there");
}

#[test]
fn a_fault_of_a_line_of_a_value_is_drawn_with_both_lines_of_it() {
    let demo =
        ["traces-demo/stack-clamp-broken-wire.csv.gz", "--setup", "traces-demo/stack-clamp.setup.toml"];
    let svg = out(&ran(&[["explain"].as_slice(), &demo, &["--svg", "-"]].concat())).to_owned();
    assert!(svg.contains("torque, its lines a and b, Nm") && svg.contains("Fault 1"), "{svg}");
}

/// The column of a plot, as numbers.
fn column(csv: &str, name: &str) -> Vec<f64> {
    let mut lines = csv.lines();
    let place =
        lines.next().unwrap().split(',').position(|head| head == name).unwrap_or_else(|| panic!("{name}"));
    lines.filter_map(|line| line.split(',').nth(place)?.parse().ok()).collect()
}

#[test]
fn a_speed_is_drawn_against_the_limits_of_each_direction_and_both_ends_of_a_range() {
    let bench = Bench::new("directions");
    // 400 mm/s forwards and 250 mm/s backwards, and from 100 to 500 mm/s, beside limits that hold in both directions.
    for (demo, low, high) in [("mouth", -250.0, 400.0), ("burner", 100.0, 500.0)] {
        let (trace, plot) = (format!("traces-demo/every-function-{demo}.csv.gz"), bench.path("plot.csv"));
        ran(&["replay", &trace, "--setup", "traces-demo/every-function.setup.toml", "--plot", &plot]);
        let csv = bench.read("plot.csv");
        for side in ["a", "b"] {
            let lows = column(&csv, &format!("speed_limit_low_{side}_high"));
            let highs = column(&csv, &format!("speed_limit_high_{side}_low"));
            let greatest = lows.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let smallest = highs.iter().copied().fold(f64::INFINITY, f64::min);
            assert!((greatest - low).abs() < 1e-3, "{demo} {side}: {greatest}");
            assert!((smallest - high).abs() < 1e-3, "{demo} {side}: {smallest}");
        }
    }
}

#[test]
fn the_keys_of_a_picture_stay_within_it_where_it_has_all_of_them() {
    let bench = Bench::new("keys");
    // Thinned, with nothing that trips, uneasy, and with a gap.
    let mut rows = "time,motor,rail\n".to_owned();
    for frame in 0..FRAMES {
        let now = frame + if frame >= 20_000 { 800 } else { 0 };
        let count = 20 * now + frame * 7 % 13;
        rows += &format!("{}.{:03},{count},{count}\n", now / 1000, now % 1000);
    }
    let trace = bench.write("gap.csv", &rows);
    let axis = bench.write(
        "axis.toml",
        &setup("A gap, invented", "not too fast", "motor")
            .replace("timeout = \"4 ms\"", "timeout = \"900 ms\"")
            .replacen("timeout = \"900 ms\"", "timeout = \"700 ms\"", 1),
    );
    let svg = bench.path("it.svg");
    ran(&["replay", &trace, "--setup", &axis, "--svg", &svg]);
    let text = bench.read("it.svg");
    let document = Document::parse(&text).unwrap();
    let keys = [
        "channel a",
        "limit, or what is allowed",
        "all between the least and the greatest of some frames",
        "a fault, or a gap",
    ];
    for key in keys {
        let node = document.descendants().find(|node| node.has_tag_name("text") && node.text() == Some(key));
        let x: f64 = node.unwrap_or_else(|| panic!("{key}")).attribute("x").unwrap().parse().unwrap();
        assert!(x + 5.8 * (key.len() as f64) < 960.0, "{key} at {x}");
    }
}

#[test]
fn a_picture_that_cannot_be_written_takes_nothing_from_the_report() {
    let bench = Bench::new("unwritten");
    let (json, junit, missing) = (bench.path("it.json"), bench.path("it.xml"), bench.path("none/it"));
    for (option, ending) in [("--svg", ".svg"), ("--html", ".html")] {
        let missing = missing.clone() + ending;
        let output = cowitness(
            &[["replay"].as_slice(), &DEMO, &[option, &missing, "--json", &json, "--junit", &junit]].concat(),
        );
        assert_eq!(output.status.code(), Some(2), "what could not be written is an error");
        assert!(err(&output).contains(&format!("none/it{ending}")), "{}", err(&output));
        let plain = ran(&[["replay"].as_slice(), &DEMO].concat());
        assert_eq!(out(&output), out(&plain), "the text is there");
        let report: Report = serde_json::from_str(&bench.read("it.json")).unwrap();
        assert!(!report.trips.is_empty());
        let xml = bench.read("it.xml");
        assert!(xml.contains("errors=\"0\"") && !xml.contains("failures=\"0\" errors"), "{xml}");
    }
}
