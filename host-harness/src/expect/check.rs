//! Whether what a file of expectations asks for can be with a setup.

use std::ops::Range;

use toml::Spanned;

use super::entries::{FaultEntry, Kind, On, OutputEntry, ResetEntry, StopEntry, Time, TripEntry, window};
use crate::setup::{MonitorKind, Setup};

/// What is wrong with a file, and the bytes of it that are meant.
pub(super) type Complaint = (Range<usize>, String);

/// Refuses a time window that ends before it begins.
fn check_window(from: Option<Time>, to: Option<&Spanned<Time>>) -> Result<(), Complaint> {
    match (from, to) {
        (Some(begin), Some(end)) if begin > *end.get_ref() => Err((
            end.span(),
            format!("a time window{} that ends before it begins; exchange the two times", window(from, to)),
        )),
        _ => Ok(()),
    }
}

/// What tells the names of a discrepancy apart from those of monitors.
const DISCREPANCIES: [&str; 2] = ["discrepancy", "speed_discrepancy"];

impl TripEntry {
    pub(super) fn check(&self, setup: &Setup) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())?;
        let Some(monitor) = &self.monitor else { return Ok(()) };
        let name = monitor.get_ref().as_str();
        let watched = [setup.discrepancy.is_some(), setup.speed_discrepancy.is_some()];
        let discrepancies = || {
            let of_motion =
                DISCREPANCIES.into_iter().zip(watched).filter(|(_, on)| *on).map(|(name, _)| name);
            of_motion.chain(setup.analogues.iter().map(|analogue| analogue.name.as_str()))
        };
        let is_monitor = setup.monitors.iter().any(|monitor| monitor.name == name);
        let is_discrepancy = discrepancies().any(|known| known == name);
        if !is_monitor && !is_discrepancy {
            let monitors = setup.monitors.iter().map(|monitor| monitor.name.as_str());
            let names: Vec<_> = monitors.chain(discrepancies()).map(|name| format!("`{name}`")).collect();
            let message =
                format!("the setup has no monitor `{name}`; use one that it has: {}", names.join(", "));
            return Err((monitor.span(), message));
        }
        match &self.channel {
            Some(on) if *on.get_ref() == On::Both && !is_discrepancy => Err((
                on.span(),
                format!(
                    "`{name}` trips on one channel at a time; write \"a\" or \"b\", or an entry for each"
                ),
            )),
            Some(on) if *on.get_ref() != On::Both && !is_monitor => Err((
                on.span(),
                format!("`{name}` belongs to both channels; write \"both\", or leave `channel` out"),
            )),
            _ => Ok(()),
        }
    }
}

impl FaultEntry {
    pub(super) fn check(&self, setup: &Setup) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())?;
        if let Some(input) = &self.input {
            let name = input.get_ref();
            if !setup.inputs.iter().any(|known| known.name == *name) {
                let names: Vec<_> = setup.inputs.iter().map(|input| format!("`{}`", input.name)).collect();
                let message = if names.is_empty() {
                    format!("the setup has no input `{name}`, and no other; leave `input` out")
                } else {
                    format!("the setup has no input `{name}`; use one that it has: {}", names.join(", "))
                };
                return Err((input.span(), message));
            }
            if let Some(kind) = self.kind.filter(|kind| *kind != Kind::Input) {
                let kind = kind.name();
                let message =
                    format!("a fault `{kind}` has no input; leave `input` out, or write kind = \"input\"");
                return Err((input.span(), message));
            }
        }
        if let Some(monitor) = &self.monitor {
            check_monitor(setup, monitor, "that needs a referenced position", MonitorKind::needs_reference)?;
            if self.input.is_some() || self.kind.is_some_and(|kind| kind != Kind::Unreferenced) {
                let message = "only a monitor without a reference is faulted; leave `monitor` out, or write kind = \"unreferenced\"";
                return Err((monitor.span(), message.to_owned()));
            }
        }
        self.check_analogue(setup)?;
        let Some(on) = &self.channel else { return Ok(()) };
        let message = match (on.get_ref(), self.kind, &self.input) {
            (On::Both, ..) => "a fault belongs to one channel; write \"a\" or \"b\", or an entry for each",
            (_, Some(Kind::Input | Kind::Clock), _) | (_, _, Some(_)) => {
                "a fault of an input or of the clock belongs to no channel; leave `channel` out"
            }
            _ => return Ok(()),
        };
        Err((on.span(), message.to_owned()))
    }

    fn check_analogue(&self, setup: &Setup) -> Result<(), Complaint> {
        let Some(analogue) = &self.analogue else { return Ok(()) };
        let name = analogue.get_ref();
        if !setup.analogues.iter().any(|known| known.name == *name) {
            let names: Vec<_> = setup.analogues.iter().map(|known| format!("`{}`", known.name)).collect();
            let message = if names.is_empty() {
                format!("the setup has no analogue value `{name}`, and no other; leave `analogue` out")
            } else {
                format!("the setup has no analogue value `{name}`; use one that it has: {}", names.join(", "))
            };
            return Err((analogue.span(), message));
        }
        if self.monitor.is_some() {
            let message = "a monitor without a reference has no analogue value; leave one of the two out";
            return Err((analogue.span(), message.to_owned()));
        }
        let message = match (self.kind, &self.input) {
            (_, Some(_)) => "a fault of an input has no analogue value; leave one of the two out".to_owned(),
            (Some(kind @ (Kind::Input | Kind::Clock | Kind::Implausible | Kind::Unreferenced)), _) => {
                format!("a fault `{}` is none of an analogue value; leave `analogue` out", kind.name())
            }
            _ => return Ok(()),
        };
        Err((analogue.span(), message))
    }
}

/// Refuses a name that is not that of a monitor of the right kind; `which` says what kind that is.
fn check_monitor(
    setup: &Setup,
    name: &Spanned<String>,
    which: &str,
    is_right: impl Fn(&MonitorKind) -> bool,
) -> Result<(), Complaint> {
    let right = setup.monitors.iter().filter(|monitor| is_right(&monitor.kind));
    let right: Vec<_> = right.map(|monitor| monitor.name.as_str()).collect();
    if right.contains(&name.get_ref().as_str()) {
        return Ok(());
    }
    let advice = if right.is_empty() {
        ", and no other; leave this entry out".to_owned()
    } else {
        let names: Vec<_> = right.iter().map(|name| format!("`{name}`")).collect();
        format!("; use one that it has: {}", names.join(", "))
    };
    let wanted = name.get_ref();
    Err((name.span(), format!("the setup has no monitor `{wanted}` {which}{advice}")))
}

impl StopEntry {
    pub(super) fn check(&self, setup: &Setup) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())?;
        let is_stop = |kind: &MonitorKind| matches!(kind, MonitorKind::Stop { .. });
        let is_torque_off = |kind: &MonitorKind| matches!(kind, MonitorKind::TorqueOff);
        check_monitor(setup, &self.monitor, "that is a stop or a torque-off", |kind| {
            is_stop(kind) || is_torque_off(kind)
        })?;
        let Some(on) = &self.channel else { return Ok(()) };
        let name = self.monitor.get_ref();
        let belongs_to_none =
            setup.monitors.iter().any(|monitor| monitor.name == *name && is_torque_off(&monitor.kind));
        if belongs_to_none {
            Err((on.span(), format!("`{name}` belongs to no channel; leave `channel` out")))
        } else if *on.get_ref() == On::Both {
            let message = format!(
                "`{name}` is complete on one channel at a time; write \"a\" or \"b\", or an entry for each"
            );
            Err((on.span(), message))
        } else {
            Ok(())
        }
    }
}

impl OutputEntry {
    pub(super) fn check(&self, setup: &Setup) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())?;
        check_monitor(setup, &self.monitor, "that is an output", MonitorKind::is_output)
    }
}

impl ResetEntry {
    pub(super) fn check(&self) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())
    }
}
