//! What took a permit, from the frame at which it went.

use monitor_core::{Channel, Outcome as Seen};

use crate::setup::{MonitorKind, Setup, Until};

/// What took it, in words.
pub(super) fn by(setup: &Setup, seen: &Seen) -> String {
    let names = |bits: u32| {
        let monitors = setup.monitors.iter().enumerate().filter(move |(place, _)| bits & (1 << place) != 0);
        monitors.map(|(_, monitor)| monitor)
    };
    let tripped = seen.tripped.a.to_bits() | seen.tripped.b.to_bits();
    if let Some(monitor) = names(tripped).next() {
        return format!("by \"{}\"", monitor.name);
    }
    if seen.position_discrepancy_tripped || seen.speed_discrepancy_tripped {
        return "because the channels are apart".to_owned();
    }
    if let Some(analogue) = seen.analogue_tripped.iter().next() {
        let name = setup.analogues.get(usize::from(analogue.index())).map(|analogue| &analogue.name);
        return name.map_or_else(String::new, |name| format!("by the lines of \"{name}\""));
    }
    if let Some(input) = seen.input_faults.iter().next() {
        let name = setup.inputs.get(usize::from(input.index())).map(|input| &input.name);
        return name.map_or_else(String::new, |name| format!("by the fault of \"{name}\""));
    }
    for channel in Channel::BOTH {
        if let Some(fault) = seen.faults.of(channel) {
            let letter = crate::causes::Side::from(channel).letter();
            return format!("by the fault of channel {letter} ({})", fault.name());
        }
    }
    let is_any = |sets: [bool; 2]| sets.contains(&false);
    if is_any([seen.analogue_faults.a.is_empty(), seen.analogue_faults.b.is_empty()]) {
        return "by the fault of an analogue value".to_owned();
    }
    if is_any([seen.unreferenced.a.is_empty(), seen.unreferenced.b.is_empty()]) {
        return "because a reference is missing".to_owned();
    }
    if seen.clock_fault {
        return "by a fault of the clock".to_owned();
    }
    // A planned loss of the torque.
    let ends = |kind: &MonitorKind| {
        matches!(kind, MonitorKind::TorqueOff | MonitorKind::Stop { until: Until::TorqueOff, .. })
    };
    match names(seen.active.to_bits()).find(|monitor| ends(&monitor.kind)) {
        Some(monitor) if matches!(monitor.kind, MonitorKind::TorqueOff) => {
            format!("as planned: \"{}\" is demanded", monitor.name)
        }
        Some(monitor) => format!("as planned: the stop \"{}\" counts as complete", monitor.name),
        None => "by something else".to_owned(),
    }
}
