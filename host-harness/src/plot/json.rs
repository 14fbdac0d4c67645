//! A plot as JSON, for people who draw it themselves. The names of its fields are an interface: see the schema.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Decided, Extent, Lane, Plot, Series, State, Stretch};
use crate::replay::Outcome;
use crate::report::{Exact, Figures, Seconds, SetupReport, rule};
use crate::setup::Setup;

/// The version of the format; it changes when a field changes its meaning or goes.
const VERSION: u32 = 2;

/// The JSON Schema of [`Data`].
#[must_use]
pub fn json_schema() -> schemars::Schema {
    schemars::schema_for!(Data)
}

/// The motion against its limits over time. Times are on the clock of the trace, with all their nanoseconds; values are for the eye, and not
/// rounded as the monitors round: what decided is in the report.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Data {
    /// The version of this format.
    pub schema: u32,
    /// The setup, with the unit of the axis.
    pub setup: SetupReport,
    /// The trace, or `-` for standard input.
    pub trace: String,
    /// The numbers that there are. Those that never have a value are left out.
    pub series: Vec<SeriesData>,
    /// What is on or off over time.
    pub lanes: Vec<LaneData>,
    /// The whole trace. A long one is thinned so that no extreme is lost: frames come in buckets of as many.
    pub overview: OverviewData,
    /// Every frame around what happened, in order of time; none where the overview has every frame.
    pub closeups: Vec<CloseupData>,
    /// What each of the first trips was decided by, and the one that is asked for, frame by frame around it.
    pub decided: Vec<DecidedData>,
}

/// A number over time.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SeriesData {
    /// Its name: `speed_a`, `speed_limit_low_a` and `speed_limit_high_a` (what the speed is held against, with its sign),
    /// `discrepancy` (a - b), `discrepancy_allowed` (without a sign) and so on.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// The name of the analogue value that it is of.
    pub analogue: Option<String>,
}

/// Something that is on or off.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct LaneData {
    /// `line` (high), `input` (demands), `monitor` (active), `violated`, `output` (true), `fault`, `warming-up` or `permit`.
    pub kind: String,
    /// Its name in the setup.
    pub name: String,
}

/// The whole trace, bucket by bucket.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct OverviewData {
    /// How many frames a bucket has, all but the last one; 1: nothing is thinned.
    pub frames_per_bucket: u64,
    /// The first frame of each bucket.
    pub first_s: Vec<Seconds>,
    /// The last frame of each.
    pub last_s: Vec<Seconds>,
    /// For each series, in their order, the least and the greatest value in each bucket.
    pub series: Vec<ExtentData>,
    /// For each lane, in their order, what it was: from the first frame of it to the last.
    pub lanes: Vec<Vec<(Seconds, Seconds, StateData)>>,
}

/// Values bucket by bucket; null where there was none.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ExtentData {
    /// The least.
    pub low: Vec<Option<f64>>,
    /// The greatest.
    pub high: Vec<Option<f64>>,
}

/// Frames one after the other.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CloseupData {
    /// Each frame.
    pub t_s: Vec<Seconds>,
    /// For each series, in their order, its value at each frame; null where there was none.
    pub series: Vec<Vec<Option<f64>>>,
    /// For each lane, in their order, what it was: from the first frame of it to the last.
    pub lanes: Vec<Vec<(Seconds, Seconds, StateData)>>,
}

/// What a lane was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum StateData {
    /// At no frame, or at none that it was known of.
    Off,
    /// At every frame.
    On,
    /// At some frames of each bucket.
    Both,
}

impl From<State> for StateData {
    fn from(state: State) -> Self {
        match state {
            State::Off => Self::Off,
            State::On => Self::On,
            State::Both => Self::Both,
        }
    }
}

/// What a trip was decided by.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DecidedData {
    /// The trip, by its number in the report, from 1.
    pub trip: usize,
    /// The rule that was broken.
    pub rule: String,
    /// Its kind.
    pub kind: String,
    /// The channel that it was broken on, or `both`.
    pub channel: String,
    /// `position`, `speed`, `acceleration`, `overrun` (beyond the limit on the speed, in steps of a position) or `value`.
    pub quantity: String,
    /// The unit of it.
    pub unit: String,
    /// When its demand became active.
    pub demand_s: Seconds,
    /// When the limit was crossed, interpolated.
    pub crossed_s: Seconds,
    /// The frame that tripped.
    pub tripped_s: Seconds,
    /// What was observed at that frame, exactly as in the report.
    pub observed: Exact,
    /// And its limit.
    pub limit: Exact,
    /// Whether less than the limit is what is not allowed.
    pub below: bool,
    /// Each frame around it at which it was looked at.
    pub t_s: Vec<Seconds>,
    /// What the rule observed on channel a, or of both together where it is of both, and its limit; null where it compared nothing. Of an
    /// overrun that is the speed.
    pub a: ComparedData,
    /// The same of channel b.
    pub b: ComparedData,
}

/// Frame by frame.
#[derive(Debug, Default, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ComparedData {
    /// What was observed.
    pub observed: Vec<Option<f64>>,
    /// What was allowed; of two limits the one that was nearer.
    pub limit: Vec<Option<f64>>,
}

impl Data {
    /// That of a replay; `path` names the trace.
    #[must_use]
    pub fn new(setup: &Setup, outcome: &Outcome, plot: &Plot, path: &str) -> Self {
        let used: Vec<Series> = (plot.series.iter().copied())
            .filter(|series| plot.stretches().any(|stretch| stretch.has(*series)))
            .collect();
        let of_lane = |lane: &Lane| LaneData { kind: lane.kind.name().to_owned(), name: lane.name.clone() };
        Self {
            schema: VERSION,
            setup: SetupReport::new(setup),
            trace: path.to_owned(),
            series: used.iter().map(|series| SeriesData::new(*series, setup)).collect(),
            lanes: plot.lanes.iter().map(of_lane).collect(),
            overview: OverviewData::new(plot, &used),
            closeups: plot.closeups.iter().map(|stretch| CloseupData::new(plot, stretch, &used)).collect(),
            decided: plot.decided.iter().filter_map(|of| decided(setup, outcome, of)).collect(),
        }
    }
}

impl SeriesData {
    fn new(series: Series, setup: &Setup) -> Self {
        let analogue = match series {
            Series::Analogue(place, _) => setup.analogues.get(place).map(|of| of.name.clone()),
            _ => None,
        };
        Self { name: series.name(), unit: series.unit(setup), analogue }
    }
}

fn seconds(plot: &Plot, now: u64) -> Seconds {
    Seconds(i128::from(now) + plot.origin_ns)
}

impl OverviewData {
    fn new(plot: &Plot, used: &[Series]) -> Self {
        let stretch = &plot.overview;
        let ends = |series: &Series, end: fn(Extent) -> f64| {
            stretch.extents(*series).map(|extent| extent.is_any().then(|| end(extent))).collect()
        };
        Self {
            frames_per_bucket: stretch.per(),
            first_s: stretch.buckets().iter().map(|bucket| seconds(plot, bucket.first)).collect(),
            last_s: stretch.buckets().iter().map(|bucket| seconds(plot, bucket.last)).collect(),
            series: (used.iter())
                .map(|series| ExtentData {
                    low: ends(series, |extent| extent.low),
                    high: ends(series, |extent| extent.high),
                })
                .collect(),
            lanes: runs(plot, stretch),
        }
    }
}

impl CloseupData {
    fn new(plot: &Plot, stretch: &Stretch, used: &[Series]) -> Self {
        let value = |extent: Extent| extent.is_any().then_some(extent.low);
        Self {
            t_s: stretch.buckets().iter().map(|bucket| seconds(plot, bucket.first)).collect(),
            series: used.iter().map(|series| stretch.extents(*series).map(value).collect()).collect(),
            lanes: runs(plot, stretch),
        }
    }
}

/// From when to when each lane was what.
fn runs(plot: &Plot, stretch: &Stretch) -> Vec<Vec<(Seconds, Seconds, StateData)>> {
    let of_lane = |lane: &Lane| {
        let mut runs: Vec<(Seconds, Seconds, StateData)> = Vec::new();
        for bucket in stretch.buckets() {
            let (state, last) = (lane.state(bucket).into(), seconds(plot, bucket.last));
            match runs.last_mut() {
                Some(run) if run.2 == state => run.1 = last,
                _ => runs.push((seconds(plot, bucket.first), last, state)),
            }
        }
        runs
    };
    plot.lanes.iter().map(of_lane).collect()
}

fn decided(setup: &Setup, outcome: &Outcome, of: &Decided) -> Option<DecidedData> {
    let trip = outcome.trips.kept.get(of.trip)?;
    let figures = Figures::new(setup, trip.rule, &trip.evidence);
    let (rule, kind, channel) = rule(setup, trip.rule);
    let at = |instant| Seconds(outcome.time_ns(instant));
    let side = |side: usize| {
        let pairs = of.frames.iter().map(move |frame| frame.of.get(side).copied().flatten());
        let (observed, limit) =
            pairs.map(|pair| (pair.map(|pair| pair.observed), pair.map(|pair| pair.limit))).unzip();
        ComparedData { observed, limit }
    };
    Some(DecidedData {
        trip: of.trip + 1,
        rule,
        kind: kind.to_owned(),
        channel: channel.to_owned(),
        quantity: figures.quantity.to_owned(),
        unit: figures.unit.clone(),
        demand_s: at(trip.demanded_at),
        crossed_s: at(trip.crossed_at),
        tripped_s: at(trip.tripped_at),
        observed: figures.observed.into(),
        limit: figures.limit.into(),
        below: figures.is_least(),
        t_s: (of.frames.iter()).map(|frame| Seconds(i128::from(frame.at) + outcome.origin_ns)).collect(),
        a: side(0),
        b: side(1),
    })
}
