//! Takes the torque away while it is demanded (safe torque off, STO; stop category 0 of IEC 60204-1).
//!
//! The hazard: an axis that is given torque can start, whatever its control means to do.
//!
//! ```text
//!   demand  ______╭────────────╮______
//!   permit  ──────╯____________╰──────     unless something is latched meanwhile
//! ```
//!
//! The permit is withdrawn at every frame at which it is active. It watches nothing, so it is never violated and needs no second source; what
//! has to be redundant is the input, and the path from the permit to the torque.
//!
//! Worst-case reaction: the filter of its input + two frames. Not detected: what becomes of the axis without torque: it runs out, and a
//! load that hangs falls. A [`Stop`](super::Stop) brakes first, a brake holds what hangs.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let line = axis.add_input(InputConfig::single(0, true, Span::ZERO).unwrap())?;
//! axis.add_monitor(Rule::TorqueOff, Demand::AnyOf(InputSet::NONE.with(line)), Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // Demanded from 5 ms to 9 ms. Nothing trips, and nothing is latched.
//! let mut permit = |ms: u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(0) });
//!     let levels = Levels::from_bits(u32::from((5..10).contains(&ms)));
//!     let outcome = axis.step(&Frame { now, a: reading, b: reading, levels });
//!     assert!(!outcome.has_trip());
//!     outcome.permit
//! };
//! let without: Vec<u64> = (0..20).filter(|&ms| !permit(ms)).collect();
//! assert_eq!(without, [5, 6, 7, 8, 9]);
//! # Ok::<(), AxisError>(())
//! ```
