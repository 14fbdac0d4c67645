//! Reads what the machine, its sensors and its contacts are like.

use monitor_core::{Position, Speed};

use super::machine::{
    ApproachSetup, ComplianceSetup, ContactsSetup, EccentricitySetup, MachineSetup, SensorSetup,
    SensorsSetup, WaySetup,
};
use super::model::{InputSetup, MonitorSetup, Setting};
use super::section::{Entry, Got, Reader, Reported, Section, Text};
use super::value::{OR_ZERO, OR_ZERO_UP, POSITIVE, POSITIVE_UP, Rule};
use crate::nearest::nearest;

/// The widest resolution for which there is a formula, and the highest field, in ULP of a millimetre.
const WIDEST: i64 = 70 << 24;
const HIGHEST: i64 = 1000 << 24;

/// What stands in the sections that no monitor reads. Names of monitors and inputs are looked up later.
pub(super) struct Described<'r> {
    machine: Got<MachineSetup>,
    speeds: Vec<(Text<'r>, Setting<Speed>)>,
    sensors: Got<SensorsSetup>,
    contacts: Got<ContactsSetup>,
    approach: Got<Option<(ApproachSetup, Text<'r>)>>,
    reader: &'r Reader<'r>,
}

impl<'r> Described<'r> {
    /// The keys of the sections.
    pub(super) const KEYS: [&'static str; 4] = ["machine", "sensors", "contacts", "approach"];

    pub(super) fn read(root: &Section<'r>) -> Self {
        let mut speeds = Vec::new();
        let machine = section(root, "machine", "[machine]", |section| machine(section, &mut speeds));
        let sensors = section(root, "sensors", "[sensors]", sensors);
        let contacts = section(root, "contacts", "[contacts]", |section| {
            let spread = section.optional("spread", OR_ZERO_UP);
            let test_pulse = section.optional("test_pulse", OR_ZERO_UP);
            Ok(ContactsSetup { spread: spread?, test_pulse: test_pulse? })
        });
        let approach = section(root, "approach", "[approach]", |section| approach(section).map(Some));
        Self { machine, speeds, sensors, contacts, approach, reader: root.reader }
    }

    /// Everything, with the names resolved.
    pub(super) fn resolve(
        self,
        monitors: &[MonitorSetup],
        inputs: &[InputSetup],
    ) -> Got<(MachineSetup, SensorsSetup, ContactsSetup, Option<ApproachSetup>)> {
        let reader = self.reader;
        let mut all = Ok(());
        let mut operating_speeds = Vec::new();
        for (name, speed) in self.speeds {
            match monitors.iter().position(|monitor| monitor.name == name.text) {
                Some(monitor) => operating_speeds.push((monitor, speed)),
                None => {
                    let names = monitors.iter().map(|monitor| monitor.name.as_str());
                    all = Err(unknown(reader, &name, "monitor", names));
                }
            }
        }
        let approach = match self.approach {
            Ok(Some((mut approach, name))) => match inputs.iter().position(|input| input.name == name.text) {
                Some(input) => {
                    approach.input = input;
                    Ok(Some(approach))
                }
                None => Err(unknown(reader, &name, "input", inputs.iter().map(|input| input.name.as_str()))),
            },
            Ok(None) => Ok(None),
            Err(error) => Err(error),
        };
        all?;
        let machine = MachineSetup { operating_speeds, ..self.machine? };
        Ok((machine, self.sensors?, self.contacts?, approach?))
    }
}

/// A name that nothing has.
fn unknown<'n>(
    reader: &Reader<'_>,
    name: &Text<'_>,
    what: &str,
    known: impl Iterator<Item = &'n str> + Clone,
) -> Reported {
    let way_out = match nearest(name.text, known.clone()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => {
            let names: Vec<_> = known.map(|name| format!("\"{name}\"")).collect();
            if names.is_empty() {
                format!("the setup has no {what}")
            } else {
                format!("known are {}", names.join(", "))
            }
        }
    };
    reader.refuse(
        name.span.clone(),
        format!("no {what} of the setup is called \"{}\"", name.text),
        "",
        way_out,
    )
}

/// Reads a section that may be left out.
fn section<'r, T: Default>(
    above: &Section<'r>,
    key: &'static str,
    title: &str,
    read: impl FnOnce(&Section<'r>) -> Got<T>,
) -> Got<T> {
    let Some(section) = above.subsection(key, title)? else { return Ok(T::default()) };
    let found = read(&section);
    let known = section.finish();
    found.and_then(|found| known.map(|()| found))
}

fn machine<'r>(section: &Section<'r>, speeds: &mut Vec<(Text<'r>, Setting<Speed>)>) -> Got<MachineSetup> {
    let frame_period = section.optional("frame_period", POSITIVE_UP);
    let output_delay = section.optional("output_delay", OR_ZERO_UP);
    let drive_delay = section.optional("drive_delay", OR_ZERO_UP);
    let max_acceleration = section.optional("max_acceleration", OR_ZERO_UP);
    let operating_acceleration = section.optional("operating_acceleration", OR_ZERO_UP);
    let operating_speed = section.optional("operating_speed", OR_ZERO_UP);
    let own = section.entry("operating_speeds").map_or(Ok(()), |entry| own_speeds(section, &entry, speeds));
    let max_travel = section.optional("max_travel", OR_ZERO_UP);
    let brake_delay = section.optional("brake_delay", OR_ZERO_UP);
    let brake_deceleration = section.optional("brake_deceleration", POSITIVE);
    let fall_acceleration = section.optional("fall_acceleration", OR_ZERO_UP);
    let overtravel = section.optional("overtravel", OR_ZERO);
    own?;
    Ok(MachineSetup {
        frame_period: frame_period?,
        output_delay: output_delay?,
        drive_delay: drive_delay?,
        max_acceleration: max_acceleration?,
        operating_acceleration: operating_acceleration?,
        operating_speed: operating_speed?,
        operating_speeds: Vec::new(),
        max_travel: max_travel?,
        brake_delay: brake_delay?,
        brake_deceleration: brake_deceleration?,
        fall_acceleration: fall_acceleration?,
        overtravel: overtravel?,
    })
}

/// A speed for each monitor that is named.
fn own_speeds<'r>(
    section: &Section<'r>,
    entry: &Entry<'r>,
    speeds: &mut Vec<(Text<'r>, Setting<Speed>)>,
) -> Got<()> {
    let table = section.of(entry, "[machine.operating_speeds]".to_owned())?;
    let mut all = Ok(());
    for entry in table.entries() {
        match table.setting::<Speed>(&entry, OR_ZERO_UP) {
            Ok(speed) => speeds.push((Text { text: entry.key, span: entry.key_span }, speed)),
            Err(error) => all = Err(error),
        }
    }
    all
}

fn sensors(section: &Section<'_>) -> Got<SensorsSetup> {
    let time_skew = section.optional("time_skew", OR_ZERO_UP);
    let scale_error = section.parts_per_billion("scale_error");
    let compliance = section.subsection("compliance", "the compliance of [sensors]").and_then(|found| {
        found
            .map(|table| {
                let by = table.required("by", OR_ZERO_UP);
                let per = table.required("per", POSITIVE);
                table.finish()?;
                Ok(ComplianceSetup { by: by?, per: per? })
            })
            .transpose()
    });
    let backlash = section.optional("backlash", OR_ZERO_UP);
    let drift = section.optional("drift", OR_ZERO_UP);
    let a = self::section(section, "a", "[sensors.a]", sensor);
    let b = self::section(section, "b", "[sensors.b]", sensor);
    Ok(SensorsSetup {
        time_skew: time_skew?,
        scale_error: scale_error?,
        compliance: compliance?,
        backlash: backlash?,
        drift: drift?,
        a: a?,
        b: b?,
    })
}

fn sensor(section: &Section<'_>) -> Got<SensorSetup> {
    let period = section.optional("period", OR_ZERO_UP);
    let delay = section.optional("delay", OR_ZERO_UP);
    let jitter = section.optional("jitter", OR_ZERO_UP);
    let noise = section.optional("noise", OR_ZERO_UP);
    let title = format!("the eccentricity of {}", section.title);
    let eccentricity = section.subsection("eccentricity", &title).and_then(|found| {
        found
            .map(|table| {
                let amplitude = table.required("amplitude", OR_ZERO_UP);
                let period = table.required("period", POSITIVE);
                table.finish()?;
                Ok(EccentricitySetup { amplitude: amplitude?, period: period? })
            })
            .transpose()
    });
    Ok(SensorSetup {
        period: period?,
        delay: delay?,
        jitter: jitter?,
        noise: noise?,
        eccentricity: eccentricity?,
    })
}

/// The words of `way`.
#[derive(Clone, Copy)]
enum Word {
    Normal,
    Beams,
    Parallel,
    Mat,
    Guard,
    TwoHand,
}

const WAYS: [(&str, Word); 6] = [
    ("normal", Word::Normal),
    ("beams", Word::Beams),
    ("parallel", Word::Parallel),
    ("mat", Word::Mat),
    ("guard", Word::Guard),
    ("two-hand", Word::TwoHand),
];

fn approach<'r>(section: &Section<'r>) -> Got<(ApproachSetup, Text<'r>)> {
    let word = section.string("way", "\"normal\"").and_then(|text| section.choice(&text, "way", &WAYS));
    let input = section.name("input", "\"door\"");
    let distance = section.length("distance", OR_ZERO);
    let detection_time = section.optional("detection_time", OR_ZERO_UP);
    let way = word.and_then(|word| way(section, word));
    if way.is_err() {
        for key in ["resolution", "height", "reach", "covered"] {
            section.entry(key);
        }
    }
    let (way, distance, detection_time) = (way?, distance?, detection_time?);
    Ok((ApproachSetup { way, distance, detection_time, input: 0 }, input?))
}

fn way(section: &Section<'_>, word: Word) -> Got<WaySetup> {
    const WAY_OUT: &str = "leave it out, or write another `way`";
    let unless = |wanted: bool, key: &'static str, why: &str| {
        if wanted { Ok(()) } else { section.misplaced(key, why, WAY_OUT) }
    };
    let resolves = matches!(word, Word::Normal | Word::Parallel);
    unless(resolves, "resolution", "only a field that is approached at a right angle or along it has one")?;
    unless(matches!(word, Word::Parallel), "height", "only a field that is approached along it has one")?;
    unless(matches!(word, Word::Guard), "reach", "only a guard has one")?;
    unless(matches!(word, Word::TwoHand), "covered", "only a control for two hands is")?;
    Ok(match word {
        Word::Normal => {
            let resolution = at_most(section, "resolution", "\"30 mm\"", POSITIVE_UP, WIDEST)?;
            WaySetup::Normal { resolution }
        }
        Word::Beams => WaySetup::Beams,
        Word::Parallel => {
            let height = at_most(section, "height", "\"300 mm\"", OR_ZERO, HIGHEST);
            let resolution = at_most(section, "resolution", "\"50 mm\"", POSITIVE_UP, i64::MAX);
            WaySetup::Parallel { height: height?, resolution: resolution? }
        }
        Word::Mat => WaySetup::Mat,
        Word::Guard => {
            WaySetup::Guard { reach: at_most(section, "reach", "\"0 mm\"", OR_ZERO_UP, i64::MAX)? }
        }
        Word::TwoHand => WaySetup::TwoHand { covered: section.flag("covered", false)? },
    })
}

/// A length that must be there, and not above what the formulas are for.
fn at_most(
    section: &Section<'_>,
    key: &'static str,
    example: &str,
    rule: Rule,
    largest: i64,
) -> Got<Setting<Position>> {
    let length = section.length(key, rule)?.ok_or_else(|| section.missing(key, example))?;
    if length.value.to_bits() <= largest {
        return Ok(length);
    }
    Err(section.reader.refuse(
        length.span,
        format!("`{key}` of {} is more than {} mm", section.title, largest >> 24),
        "there is no formula for it",
        "check the unit; for a coarser device write way = \"beams\"",
    ))
}
