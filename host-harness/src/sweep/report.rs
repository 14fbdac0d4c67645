//! The results of a sweep for programs, as JSON.

use monitor_core::{Position, Span};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::front::{Price, front};
use super::reaction::{Cost, cost, no_sooner, varies_a_limit};
use super::{Found, Results, Sweep};
use crate::expect::Counts;
use crate::replay::TripRule;
use crate::report::{CAUTION, Exact, Seconds, SetupReport, VerdictReport};
use crate::setup::Setup;

/// What stands below every table.
pub const NO_RECOMMENDATION: &str = "A setting with the fewest nuisance trips is no recommendation: limits come from the risk assessment of the machine, and a \
     trace shows only what happened while it was recorded.";

/// The version of this format; it changes when a field changes its meaning or goes.
const SCHEMA_VERSION: u32 = 2;

/// The JSON Schema of [`SweepReport`].
#[must_use]
pub fn json_schema() -> schemars::Schema {
    schemars::schema_for!(SweepReport)
}

/// What a sweep found, for programs.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SweepReport {
    /// The version of this format.
    pub schema: u32,
    /// The setup as it is written.
    pub setup: SetupReport,
    /// The settings that are varied.
    pub settings: Vec<SettingOfSweep>,
    /// The traces.
    pub traces: Vec<TraceOfSweep>,
    /// Whose reaction counts: monitors, `discrepancy`, `speed_discrepancy`, analogue values.
    pub reaction_of: Vec<String>,
    /// The distance that there is, as the `[approach]` of the setup says it; null where it does not.
    pub approach_distance: Option<String>,
    /// A limit on the speed is varied: of a looser one, `travel_from_demand` and `distance_mm` are at least those of the stricter ones
    /// with the same other values. It is reached sooner, but the axis may go on at it without a trip.
    pub looser_no_sooner: bool,
    /// Every point of the grid.
    pub points: Vec<PointReport>,
    /// That few nuisance trips are no recommendation.
    pub note: String,
    /// What the program is for, and who decides.
    pub caution: String,
}

/// A setting that is varied.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SettingOfSweep {
    /// Its name.
    pub setting: String,
    /// What the file says; null where it leaves the setting out.
    pub written: Option<String>,
    /// Its values.
    pub values: Vec<String>,
}

/// A trace of a sweep.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TraceOfSweep {
    /// The file.
    pub path: String,
    /// Its length as it is stored; null when no point was evaluated.
    pub bytes: Option<u64>,
    /// CRC-32 of these bytes, eight hexadecimal digits.
    pub crc32: Option<String>,
    /// Whether there are expectations of it.
    pub is_judged: bool,
}

/// A point of the grid.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PointReport {
    /// The value of each setting.
    pub values: Vec<String>,
    /// The setup says the same with the file as it is written.
    pub is_as_written: bool,
    /// CRC-32 of the effective values of the setup, eight hexadecimal digits; null when it is refused.
    pub checksum: Option<String>,
    /// Why the setup is refused with these values; null when it is not.
    pub refused: Option<String>,
    /// No other point is as good in all of nuisances, misses, reaction, travel, travel from a demand, how far apart sources get, distance of
    /// the approach, and lateness, and better in one. Null when it is refused, or not every trace has expectations.
    pub is_on_front: Option<bool>,
    /// All traces together; null when it is refused.
    pub all: Option<All>,
    /// Each trace, in order; empty when it is refused.
    pub traces: Vec<OneTrace>,
}

/// What a point comes to on all traces together.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct All {
    /// Trips.
    pub trips: u64,
    /// Faults.
    pub faults: u64,
    /// How often the permit was lost.
    pub permit_losses: u64,
    /// Against the expectations; null when not every trace has some.
    pub counts: Option<CountsReport>,
    /// The longest time from where a limit was crossed to the trip that was observed; null without a trip of the rules that count.
    pub latency_s: Option<Seconds>,
    /// The longest time from the `from` of an expected trip of the rules that count to the trip, in all traces; negative where it came earlier, within the slack. Null
    /// where no trip is expected from some time on, and where one is missed.
    pub latest_s: Option<Seconds>,
    /// The longest reaction of the rules that count, by the setup; null where nothing bounds it.
    pub reaction_s: Option<Seconds>,
    /// The highest speed when the torque goes, by the setup, in the unit of the axis per second; null where the setup does not say enough.
    pub speed_at_torque_off: Option<Exact>,
    /// The longest travel from what is truly broken until the axis stands, by the setup, in the unit of the axis. Null where the setup does
    /// not say enough.
    pub travel: Option<Exact>,
    /// The same from a demand of the rules that count, down the ramp or to the end of the stop, with a fault at the end of it; see
    /// `looser_no_sooner`. Null without such a rule, too.
    pub travel_from_demand: Option<Exact>,
    /// How far apart the two sources can be when the torque goes, where `discrepancy` counts.
    pub apart: Option<Exact>,
    /// The distance that the approach of the setup needs after ISO 13855, in mm, rounded up; see `looser_no_sooner`. Null where the setup has
    /// no approach or does not say enough.
    pub distance_mm: Option<Exact>,
}

/// What is unexpected, and what of the expected did not come.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CountsReport {
    /// Trips that no expectation names.
    pub nuisance_trips: u64,
    /// Expected trips that did not come in their time window.
    pub missed_trips: u64,
    /// Faults that no expectation names.
    pub nuisance_faults: u64,
    /// Expected faults that did not come in their time window.
    pub missed_faults: u64,
}

impl From<Counts> for CountsReport {
    fn from(counts: Counts) -> Self {
        let Counts { nuisance_trips, missed_trips, nuisance_faults, missed_faults, .. } = counts;
        Self { nuisance_trips, missed_trips, nuisance_faults, missed_faults }
    }
}

/// What a point comes to on one trace.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct OneTrace {
    /// Frames evaluated.
    pub frames: u64,
    /// Rows left out as bad, on request.
    pub skipped_rows: u64,
    /// What came of it.
    pub verdict: VerdictReport,
    /// Trips.
    pub trips: u64,
    /// Faults.
    pub faults: u64,
    /// How often the permit was lost.
    pub permit_losses: u64,
    /// Against its expectations; null without any.
    pub counts: Option<CountsReport>,
    /// The longest time from where a limit was crossed to the trip, of the rules that count.
    pub latency_s: Option<Seconds>,
    /// The longest time from the `from` of an expected trip of the rules that count to the trip; null where none is expected from some time on, and
    /// where one is missed.
    pub latest_s: Option<Seconds>,
}

/// A time in ns as it is reported.
fn seconds(ns: u64) -> Seconds {
    Seconds(i128::from(ns))
}

fn latest(counts: Option<Counts>) -> Option<Seconds> {
    let counts = counts.filter(|counts| counts.missed_trips == 0)?;
    counts.latest_ns.map(|ns| Seconds(i128::from(ns)))
}

impl From<&Found> for OneTrace {
    fn from(found: &Found) -> Self {
        Self {
            frames: found.frames,
            skipped_rows: found.skipped_rows,
            verdict: found.verdict,
            trips: found.trips,
            faults: found.faults,
            permit_losses: found.permit_losses,
            counts: found.counts.map(CountsReport::from),
            latency_s: found.latency_ns.map(seconds),
            latest_s: latest(found.counts),
        }
    }
}

/// Everything on one point.
struct Sum<'r> {
    found: Vec<&'r Found>,
    counts: Option<Counts>,
    cost: Option<Cost>,
}

/// What a point costs with frames as far apart as the farthest that it was shown.
fn cost_of(setup: &Setup, found: &[&Found], rules: &[TripRule]) -> Option<Cost> {
    let period = found.iter().map(|found| found.longest_period_ns).max().unwrap_or(0);
    cost(setup, Span::from_nanos(period), rules)
}

impl<'r> Sum<'r> {
    fn of(found: Vec<&'r Found>, cost: Option<Cost>) -> Self {
        let counts = found
            .iter()
            .map(|found| found.counts)
            .try_fold(Counts::default(), |sum, counts| counts.map(|counts| sum.and(counts)));
        Self { found, counts, cost }
    }

    fn price(&self) -> Option<Price> {
        let counts = self.counts?;
        let (nuisances, misses) =
            (counts.nuisance_trips + counts.nuisance_faults, counts.missed_trips + counts.missed_faults);
        let time = self.cost.map_or(u64::MAX, |cost| cost.time.as_nanos());
        let way = |of: fn(Cost) -> Option<Position>| {
            self.cost.and_then(of).map_or(u64::MAX, |way| way.to_bits().unsigned_abs())
        };
        // Shifted so that the order stays that of the times. Where no trip is expected from some time on it decides nothing, and one that
        // never came is later than any.
        let latest = match counts.missed_trips {
            0 => counts.latest_ns.map_or(0, |ns| ns.cast_unsigned() ^ 1 << 63),
            _ => u64::MAX,
        };
        Some([
            nuisances,
            misses,
            time,
            way(|cost| cost.travel),
            way(|cost| cost.from_demand),
            way(|cost| cost.apart),
            way(|cost| cost.distance),
            latest,
        ])
    }

    fn all(&self) -> All {
        let way = |of: fn(Cost) -> Option<Position>| self.cost.and_then(of).map(Exact::from);
        let total = |of: fn(&Found) -> u64| self.found.iter().map(|found| of(found)).sum();
        All {
            trips: total(|found| found.trips),
            faults: total(|found| found.faults),
            permit_losses: total(|found| found.permit_losses),
            counts: self.counts.map(CountsReport::from),
            latency_s: self.found.iter().filter_map(|found| found.latency_ns).max().map(seconds),
            latest_s: latest(self.counts),
            reaction_s: self.cost.map(|cost| seconds(cost.time.as_nanos())),
            speed_at_torque_off: self.cost.and_then(|cost| cost.speed).map(Exact::from),
            travel: way(|cost| cost.travel),
            travel_from_demand: way(|cost| cost.from_demand),
            apart: way(|cost| cost.apart),
            distance_mm: way(|cost| cost.distance),
        }
    }
}

impl SweepReport {
    /// The report on a sweep that has run to its end.
    #[must_use]
    pub fn new(sweep: &Sweep, results: &Results) -> Self {
        let (grid, setup) = (&sweep.grid, sweep.grid.base().setup());
        let rules = grid.rules();
        let found_of = |place: usize| -> Option<Vec<&Found>> {
            results.traces.iter().map(|(_, points)| points.get(place)?.as_ref()).collect()
        };
        let mut costs: Vec<Option<Cost>> = (grid.points().par_iter().enumerate())
            .map(|(place, point)| cost_of(point.setup.as_ref().ok()?, &found_of(place)?, &rules))
            .collect();
        no_sooner(grid, &mut costs);
        let sums: Vec<Option<Sum>> = (grid.points().iter().zip(costs).enumerate())
            .map(|(place, (point, cost))| {
                point.setup.as_ref().ok()?;
                Some(Sum::of(found_of(place)?, cost))
            })
            .collect();
        let prices: Vec<Option<Price>> = sums.iter().map(|sum| sum.as_ref().and_then(Sum::price)).collect();
        let points = grid.points().iter().zip(sums).zip(prices.iter().zip(front(&prices)));
        let points = points.map(|((point, sum), (price, is_on_front))| PointReport {
            values: point.values.clone(),
            is_as_written: point.setup.as_ref().is_ok_and(|varied| varied.checksum() == setup.checksum()),
            checksum: point.setup.as_ref().ok().map(|setup| format!("{:08x}", setup.checksum())),
            refused: point.setup.as_ref().err().cloned(),
            is_on_front: price.map(|_| is_on_front),
            traces: sum
                .as_ref()
                .map_or_else(Vec::new, |sum| sum.found.iter().copied().map(OneTrace::from).collect()),
            all: sum.map(|sum| sum.all()),
        });
        Self {
            schema: SCHEMA_VERSION,
            setup: SetupReport::new(setup),
            settings: (grid.variations().iter())
                .map(|one| SettingOfSweep {
                    setting: one.path().to_string(),
                    written: one.written().map(str::to_owned),
                    values: one.values().to_vec(),
                })
                .collect(),
            traces: (sweep.traces.iter().zip(&results.traces))
                .map(|(trace, (identity, _))| TraceOfSweep {
                    path: trace.path.display().to_string(),
                    bytes: identity.map(|identity| identity.bytes),
                    crc32: identity.map(|identity| format!("{:08x}", identity.crc32)),
                    is_judged: trace.expectations.is_some(),
                })
                .collect(),
            reaction_of: grid.names(),
            approach_distance: (setup.approach.as_ref())
                .and_then(|approach| Some(approach.distance.as_ref()?.text.clone())),
            looser_no_sooner: varies_a_limit(grid),
            points: points.collect(),
            note: NO_RECOMMENDATION.to_owned(),
            caution: CAUTION.to_owned(),
        }
    }

    /// Points that were refused.
    #[must_use]
    pub fn refused(&self) -> usize {
        self.points.iter().filter(|point| point.refused.is_some()).count()
    }
}
