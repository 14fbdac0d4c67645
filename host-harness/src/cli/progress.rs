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
