//! Sealed setups: what was sealed is what is loaded, and nothing else is loaded at all.

mod c;
mod demos;
mod firmware;

use cowitness_tests::core_of::core_of;
use cowitness_tests::trace::case;
use host_harness::setup::Setup;
use monitor_core::seal::{Image, SealError, VERSION, crc32};
use monitor_core::{
    AxisConfig, AxisError, Check, Demand, Monitor, Motion, Rule, Scale, SourceConfig, SourceError, Span,
    Speed, WarmUp,
};

const POINTS: usize = 9;
/// What the tests seal with an axis.
const SETUP: u32 = 0x1234_abcd;
const LABELS: &[u8] = "an invented axis".as_bytes();

/// What every setup written here begins with, below its title.
const BEGINNING: &str = r#"
unit  = "mm"
time  = { column = "time", unit = "s" }
[channel.a]
column         = "motor"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "rail"
counter_bits   = 24
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
"#;

/// Two analogue values.
const MEASURED: &str = r#"
[analogue.torque]
columns          = ["torque_1", "torque_2"]
unit             = "Nm"
low              = "-120 Nm"
high             = "150 Nm"
timeout          = "5 ms"
tolerance        = "4 Nm"
discrepancy_time = "20 ms"
[analogue."motor winding"]
columns          = ["winding_1", "winding_2"]
unit             = "degC"
low              = "-40 degC"
high             = "200 degC"
timeout          = "5 s"
tolerance        = "8 degC"
discrepancy_time = "1 s"
[[monitor]]
name  = "no hotter"
kind  = "temperature-limit"
of    = "motor winding"
limit = "120 degC"
"#;

fn measured() -> Setup {
    written("Two values", MEASURED)
}

/// A setup of this title.
fn written(title: &str, rest: &str) -> Setup {
    let text = format!("title = \"{title}, invented\"{BEGINNING}{rest}");
    Setup::parse(&text, title).unwrap_or_else(|error| panic!("{error}"))
}

type Config = AxisConfig<POINTS, 16, 16>;

fn config(seed: u64) -> Config {
    core_of::<POINTS>(&case(seed, 1, POINTS).setup).config
}

fn sealed(config: &Config) -> Vec<u8> {
    let mut bytes = [0; 4096];
    let length = config.seal(SETUP, LABELS, &mut bytes).expect("the image fits");
    bytes[..length].to_vec()
}

fn loaded(bytes: &[u8]) -> Result<Config, SealError> {
    Image::open(bytes)?.axis()
}

/// Everything of a setup, as its fields are printed.
fn all_of(config: &Config) -> String {
    format!("{config:?}")
}

/// The same bytes with the checksum that belongs to them.
fn with_its_checksum(mut bytes: Vec<u8>) -> Vec<u8> {
    let content = bytes.len() - 4;
    let crc = crc32(&bytes[..content]).to_le_bytes();
    bytes[content..].copy_from_slice(&crc);
    bytes
}

/// The first setup with every part that an axis can have.
fn full() -> Config {
    let has_all = |config: &Config| {
        let text = all_of(config);
        let parts =
            ["TorqueOff", "Standstill(", "SpeedLimit(", "Stop(", "skew", "Some(Second", "reset: Some"];
        parts.iter().all(|part| text.contains(part)) && text.contains("speed_discrepancy: Some")
    };
    (0..10_000).map(config).find(has_all).expect("random setups have every part now and then")
}

#[test]
fn what_is_loaded_is_what_was_sealed() {
    for seed in 0..2_000 {
        let config = config(seed);
        let bytes = sealed(&config);
        let image = Image::open(&bytes).expect("an image");
        assert_eq!((image.setup_checksum(), image.labels()), (SETUP, LABELS));
        assert_eq!(usize::from(image.points()), POINTS);
        let loaded: Config = image.axis().expect("an axis");
        assert_eq!(all_of(&loaded), all_of(&config), "seed {seed}");
    }
}

#[test]
fn an_image_with_any_bit_flipped_is_refused() {
    let bytes = sealed(&full());
    for bit in 0..bytes.len() * 8 {
        let mut altered = bytes.clone();
        altered[bit / 8] ^= 1 << (bit % 8);
        assert!(Image::open(&altered).is_err(), "bit {bit}");
    }
}

#[test]
fn an_image_cut_at_any_byte_or_with_something_appended_is_refused() {
    let bytes = sealed(&full());
    for length in 0..bytes.len() {
        assert!(Image::open(&bytes[..length]).is_err(), "{length} bytes");
    }
    for byte in 0..=u8::MAX {
        let longer = [&bytes[..], &[byte]].concat();
        let refused = Err(SealError::Length(bytes.len(), bytes.len() + 1));
        assert_eq!(Image::open(&longer).map(|_| ()), refused);
    }
}

#[test]
fn an_image_with_up_to_32_neighbouring_bits_changed_is_refused() {
    let bytes = sealed(&full());
    let mut state = 1_u64;
    for _ in 0..20_000 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let bits = bytes.len() * 8;
        let at = usize::try_from(state >> 40).expect("24 bits") % (bits - 32);
        let pattern = u32::try_from(state & 0xffff_ffff).expect("32 bits") | 1;
        let mut altered = bytes.clone();
        for bit in (0..32).filter(|bit| pattern >> bit & 1 == 1) {
            altered[(at + bit) / 8] ^= 1 << ((at + bit) % 8);
        }
        assert!(Image::open(&altered).is_err(), "{pattern:#x} from bit {at}");
    }
}

#[test]
fn an_image_of_another_version_is_refused_by_its_number() {
    let mut bytes = sealed(&full());
    bytes[4..6].copy_from_slice(&(VERSION + 1).to_le_bytes());
    assert_eq!(Image::open(&with_its_checksum(bytes)).map(|_| ()), Err(SealError::Version(VERSION + 1)));
}

#[test]
fn an_image_for_another_history_or_a_larger_axis_is_not_loaded() {
    let bytes = sealed(&full());
    let image = Image::open(&bytes).expect("an image");
    assert!(matches!(image.axis::<33, 16, 16>(), Err(SealError::Points(9, 33))));
    let refused = |error| Some(SealError::Axis(error));
    assert_eq!(image.axis::<POINTS, 1, 16>().err(), refused(AxisError::TooManyMonitors(1)));
    assert_eq!(image.axis::<POINTS, 16, 0>().err(), refused(AxisError::TooManyInputs(0)));
}

#[test]
fn an_image_for_another_history_differs_in_its_points_only() {
    let config = full();
    for points in [3, 9, 33, 1025] {
        let mut bytes = [0; 4096];
        let length = config.seal_for(points, SETUP, LABELS, &mut bytes).expect("the image fits");
        assert_eq!(Image::open(&bytes[..length]).map(|image| image.points()), Ok(points));
        bytes[6..8].copy_from_slice(&9_u16.to_le_bytes());
        assert_eq!(with_its_checksum(bytes[..length].to_vec()), sealed(&config));
    }
}

#[test]
fn no_image_is_made_or_shown_for_a_history_that_no_axis_has() {
    let config = full();
    for points in [0, 1, 2, 4, 1024, 1026, 1027, u16::MAX] {
        let mut bytes = [0; 4096];
        assert_eq!(config.seal_for(points, 0, &[], &mut bytes), Err(SealError::History(points)));
        let mut bytes = sealed(&config);
        bytes[6..8].copy_from_slice(&points.to_le_bytes());
        let bytes = with_its_checksum(bytes);
        let image = Image::open(&bytes).expect("an image");
        assert_eq!(image.for_review::<16, 16>().err(), Some(SealError::History(points)));
    }
}

/// With three stored readings they lie a whole window apart, and window, spacing and timeout must fit in 32 bits together.
#[test]
fn no_image_is_made_or_shown_for_a_history_whose_times_do_not_fit() {
    let fastest = Speed::from_int(3000).expect("in range");
    let timeout = Span::from_nanos(1_000_000_000);
    let source = SourceConfig::try_new(64, Scale::ULP, fastest, timeout).expect("a source");
    let window = Span::from_nanos(2_000_000_000);
    let config = AxisConfig::<9, 0, 0>::try_new(source, source, window, WarmUp::Withhold).expect("an axis");
    let too_long = SealError::Axis(AxisError::WindowAndTimeout(Span::from_nanos(5_000_000_000)));
    assert_eq!(config.seal_for(3, 0, &[], &mut [0; 1024]), Err(too_long));
    let mut bytes = [0; 1024];
    let length = config.seal(0, &[], &mut bytes).expect("the image fits");
    bytes[6..8].copy_from_slice(&3_u16.to_le_bytes());
    let bytes = with_its_checksum(bytes[..length].to_vec());
    let image = Image::open(&bytes).expect("an image");
    assert_eq!(image.for_review::<0, 0>().err(), Some(too_long));
}

#[test]
fn what_is_shown_of_an_axis_is_what_is_loaded() {
    for seed in 0..200 {
        let bytes = sealed(&config(seed));
        let shown = Image::open(&bytes).and_then(|image| image.for_review::<32, 32>()).expect("an axis");
        let mut again = [0; 4096];
        let length = shown.seal_for(9, SETUP, LABELS, &mut again).expect("the image fits");
        assert_eq!(again[..length], bytes, "seed {seed}");
    }
}

#[test]
fn what_a_constructor_refuses_is_not_loaded_although_the_checksum_is_right() {
    let mut bytes = sealed(&full());
    // The width of the first counter.
    bytes[20] = 65;
    let refused = loaded(&with_its_checksum(bytes)).map(|_| ());
    assert_eq!(refused, Err(SealError::Source(SourceError::CounterBits(65))));
}

#[test]
fn an_image_under_a_right_checksum_is_either_refused_or_the_only_form_of_its_axis() {
    let bytes = sealed(&full());
    let (mut refused, mut loads) = (0, 0);
    for at in 20..bytes.len() - LABELS.len() - 4 {
        for change in [1, 2, 0x80, 0xff] {
            let mut altered = bytes.clone();
            altered[at] ^= change;
            let altered = with_its_checksum(altered);
            match loaded(&altered) {
                Err(_) => refused += 1,
                Ok(config) => {
                    loads += 1;
                    assert_eq!(sealed(&config), altered, "byte {at} changed by {change:#x}");
                }
            }
        }
    }
    assert!(refused > 100 && loads > 100, "{refused} refused, {loads} loaded");
}

#[test]
fn too_little_room_is_told() {
    let config = full();
    let whole = sealed(&config).len();
    for room in 0..whole {
        let mut bytes = vec![0; room];
        assert_eq!(config.seal(SETUP, LABELS, &mut bytes), Err(SealError::NoRoom(room)));
    }
    assert_eq!(config.seal(SETUP, LABELS, &mut vec![0; whole]), Ok(whole));
}

/// A monitor of one's own.
#[derive(Clone, Copy, Debug)]
struct Nothing;

impl Monitor for Nothing {
    type State = ();

    fn check(&self, (): &mut (), _: &Motion<'_>) -> Check {
        Check::default()
    }
}

#[test]
fn a_monitor_of_ones_own_is_not_sealed() {
    let fastest = Speed::from_int(3000).expect("in range");
    let timeout = Span::from_nanos(4_000_000);
    let source = SourceConfig::try_new(64, Scale::ULP, fastest, timeout).expect("a source");
    let window = Span::from_nanos(8_000_000);
    let mut config =
        AxisConfig::<9, 1, 1, Nothing>::try_new(source, source, window, WarmUp::Withhold).expect("an axis");
    config.add_monitor(Rule::Own(Nothing), Demand::Always, Span::ZERO).expect("room for one");
    assert_eq!(config.seal(0, &[], &mut [0; 1024]), Err(SealError::OwnMonitor));
}

/// The check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms (from memory), and a library in wide use
/// for the rest.
#[test]
fn the_checksum_is_crc_32_iso_hdlc() {
    assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    for seed in 0..50 {
        let bytes = sealed(&config(seed));
        let mut theirs = flate2::Crc::new();
        theirs.update(&bytes);
        assert_eq!(crc32(&bytes), theirs.sum());
    }
}
