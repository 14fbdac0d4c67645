//! Faults that begin, go on and end.

use monitor_core::{Channel, Glimpse, Instant, Reading, Sample, SourceFault};

use super::{Recorder, contains, index};
use crate::replay::axis::{ReplayAxis, analogue_id};
use crate::replay::outcome::{Change, Fault, FaultKind};

impl Recorder {
    /// Rules that lack a referenced position.
    pub(super) fn unreferenced(&mut self, seen: &monitor_core::Outcome, now: Instant) {
        for (i, slot) in self.slots.iter_mut().enumerate() {
            for channel in Channel::BOTH {
                let open = &mut slot.halves[index(channel)].unreferenced;
                if !contains(*seen.unreferenced.of(channel), i) {
                    *open = None;
                    continue;
                }
                match *open {
                    Some(place) => self.outcome.faults.go_on(place, now),
                    None => {
                        *open = Some(self.outcome.faults.kept.len());
                        let kind = FaultKind::Unreferenced(i, channel);
                        let fault = Fault { kind, from: now, to: now, frames: 1, change: None };
                        self.outcome.faults.push(fault);
                    }
                }
            }
        }
    }

    /// A channel fault that begins, goes on or ends.
    pub(super) fn channel_fault(
        &mut self,
        now: Instant,
        channel: Channel,
        reading: Option<Reading>,
        before: Option<Glimpse>,
        fault: Option<SourceFault>,
    ) {
        for slot in &mut self.slots {
            slot.halves[index(channel)].interrupt_motion();
        }
        let open = &mut self.open_faults[index(channel)];
        match (fault, *open) {
            (Some(fault), Some((open, place))) if fault == open => self.outcome.faults.go_on(place, now),
            (Some(fault), _) => {
                *open = Some((fault, self.outcome.faults.kept.len()));
                let kind = FaultKind::Channel(channel, fault, reading);
                let change = match (fault, reading, before) {
                    (SourceFault::Implausible, Some(reading), Some(before)) => {
                        change(before, reading, self.unused_bits[index(channel)])
                    }
                    _ => None,
                };
                self.outcome.faults.push(Fault { kind, from: now, to: now, frames: 1, change });
            }
            (None, _) => *open = None,
        }
    }

    /// Faults of analogue lines that begin, go on or end.
    pub(super) fn analogue_faults(&mut self, axis: &ReplayAxis, now: Instant) {
        let faults = &mut self.outcome.faults;
        for (place, lines) in self.open_analogue_faults.iter_mut().enumerate() {
            let Some(id) = analogue_id(place) else { continue };
            for (open, channel) in lines.iter_mut().zip(Channel::BOTH) {
                match (axis.state().analogue_fault(id, channel), *open) {
                    (Some(fault), Some((open, kept))) if fault == open => faults.go_on(kept, now),
                    (Some(fault), _) => {
                        *open = Some((fault, faults.kept.len()));
                        let is_of_its_value = matches!(fault, SourceFault::Range | SourceFault::Invalid);
                        let reading = axis.state().analogue_reading(id, channel).filter(|_| is_of_its_value);
                        let kind = FaultKind::Analogue(place, channel, fault, reading);
                        faults.push(Fault { kind, from: now, to: now, frames: 1, change: None });
                    }
                    (None, _) => *open = None,
                }
            }
        }
    }

    pub(super) fn clock_fault(&mut self, now: Instant) {
        match self.clock_fault {
            // The frames are counted; a clock that fails does not say until when.
            Some(place) => {
                if let Some(fault) = self.outcome.faults.kept.get_mut(place) {
                    fault.frames += 1;
                }
            }
            None => {
                self.clock_fault = Some(self.outcome.faults.kept.len());
                self.outcome.faults.push(Fault {
                    kind: FaultKind::Clock,
                    from: now,
                    to: now,
                    frames: 1,
                    change: None,
                });
            }
        }
        let lost = monitor_core::Outcome::default();
        self.reactions(&lost, now);
        if self.permit {
            self.outcome.permit_lost.push(now);
        }
        self.permit = false;
    }
}

/// What a reading changed from the one before, in the width of the counter.
fn change(before: Glimpse, reading: Reading, unused_bits: u32) -> Option<Change> {
    let Sample::Count(raw) = reading.sample else { return None };
    let counts =
        (raw.wrapping_sub(before.mark.count().cast_unsigned()) << unused_bits).cast_signed() >> unused_bits;
    Some(Change { counts, elapsed: reading.captured_at.since(before.captured_at)? })
}
