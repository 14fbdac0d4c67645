//! A safety loop over the pins of a board, logging every trip. The machine behind the pins is invented.

#![no_std]
#![no_main]

use defmt_semihosting as _;
use firmware::board::board;
use firmware::entry;
use firmware::plant::Plant;
use monitor_core::hal::SafetyLoop;
use monitor_core::{
    AxisConfig, Demand, InputConfig, InputSet, OneSided, Pairing, Position, PositionDiscrepancy, Rule, Scale,
    SourceConfig, Span, Speed, SpeedLimit, WarmUp,
};

/// Two sources, a position discrepancy, and 250 mm/s while the door is open.
fn config() -> Option<AxisConfig<17, 1, 1>> {
    let ms = Span::from_millis;
    let fastest = Speed::from_int(3000)?;
    let source = |per_mm| SourceConfig::try_new(32, Scale::from_ratio(1, per_mm).ok()?, fastest, ms(4)?).ok();
    let mut config = AxisConfig::try_new(source(2000)?, source(1000)?, ms(8)?, WarmUp::Withhold).ok()?;
    let (filter, discrepancy_time) = (ms(3)?, ms(500)?);
    let door =
        InputConfig::dual([0, 1], Pairing::Equivalent, false, filter, discrepancy_time, OneSided::Fault);
    let door = config.add_input(door.ok()?).ok()?;
    let slow = Rule::SpeedLimit(SpeedLimit::try_new(Speed::from_int(250)?, None)?);
    config.add_monitor(slow, Demand::AnyOf(InputSet::NONE.with(door)), ms(4)?).ok()?;
    let tolerance = Position::from_int(2)?;
    config.set_position_discrepancy(PositionDiscrepancy::try_new(tolerance, ms(1)?, ms(20)?, false)?);
    Some(config)
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    semihosting::process::exit(101)
}

#[entry]
fn main() -> ! {
    let config = config().unwrap();
    let mut plant = Plant::new();
    let mut safety = SafetyLoop::new(config, board().unwrap());
    let mut permit = false;
    for _ in 0..600 {
        plant.pass();
        let turn = safety.turn();
        if turn.permit != permit {
            permit = turn.permit;
            defmt::info!("{=u64} ns: permit {=bool}", turn.now.as_nanos(), permit);
        }
        if turn.outcome.has_trip() {
            for trip in safety.axis().state().trips().filter(|trip| trip.tripped_at == turn.now) {
                defmt::warn!("{}", trip);
            }
        }
        if let Some(fault) = turn.pin_fault {
            defmt::error!("{}", fault);
        }
    }
    semihosting::process::exit(0)
}
