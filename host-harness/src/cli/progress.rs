//! Progress of long work, on a terminal only.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Frames replayed so far over all traces. On anything but a terminal nothing is shown.
pub(super) struct Progress {
    bar: ProgressBar,
    frames: AtomicU64,
}

impl Progress {
    pub(super) fn new(hidden: bool) -> Self {
        let target =
            if hidden { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr_with_hz(5) };
        let bar = ProgressBar::with_draw_target(None, target);
        if let Ok(style) =
            ProgressStyle::with_template("{spinner} {human_pos} frames in {elapsed} ({per_sec})")
        {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        Self { bar, frames: AtomicU64::new(0) }
    }

    /// Some more frames have been evaluated.
    pub(super) fn add(&self, frames: u64) {
        let all = self.frames.fetch_add(frames, Ordering::Relaxed) + frames;
        self.bar.set_position(all);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// Results that are there, of all that are wanted, and frames evaluated for them. On anything but a terminal nothing is shown.
pub(super) struct Bar {
    bar: ProgressBar,
    frames: AtomicU64,
}

impl Bar {
    pub(super) fn new(hidden: bool, results: usize) -> Self {
        let target =
            if hidden { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr_with_hz(5) };
        let bar = ProgressBar::with_draw_target(Some(results as u64), target);
        if let Ok(style) =
            ProgressStyle::with_template("{spinner} {pos} of {len} results, {msg} frames in {elapsed}")
        {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        Self { bar, frames: AtomicU64::new(0) }
    }

    /// Some more frames have been evaluated.
    pub(super) fn frames(&self, frames: u64) {
        let all = self.frames.fetch_add(frames, Ordering::Relaxed) + frames;
        self.bar.set_message(indicatif::HumanCount(all).to_string());
    }

    /// Some more results are there.
    pub(super) fn results(&self, results: usize) {
        self.bar.inc(results as u64);
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
