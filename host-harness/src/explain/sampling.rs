//! The samples of the positions, taken on a thread of their own: they take long beside a replay, and need nothing of it but the frames.

use std::io;
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::JoinHandle;

use monitor_core::Instant;

use crate::causes::{Sampler, Samples};
use crate::replay::Chunk;
use crate::setup::Setup;

/// How many chunks may wait.
const WAITING: usize = 2;

/// Frames, and when what is to be explained happened, if it did among them.
type Message = (Arc<Chunk>, Option<Instant>);

/// A sampler that is handed chunks.
#[derive(Debug)]
pub(super) struct Sampling {
    /// `None`: nothing more is wanted.
    chunks: Option<SyncSender<Message>>,
    thread: JoinHandle<Sampled>,
}

/// What was kept, and up to when where what is to be explained is among it.
pub(super) type Sampled = (Samples, Option<Instant>);

impl Sampling {
    /// Waits for the first chunk.
    ///
    /// # Errors
    ///
    /// When the system gives no thread.
    pub(super) fn start(setup: &Setup) -> io::Result<Self> {
        let mut sampler = Sampler::new(setup);
        let (chunks, taken) = sync_channel::<Message>(WAITING);
        let thread = std::thread::Builder::new().name("sampler".to_owned()).spawn(move || {
            let mut marked = None;
            while let Ok((chunk, wanted)) = taken.recv() {
                for frame in &chunk.frames {
                    sampler.take(frame);
                    if wanted == Some(frame.now) {
                        sampler.mark();
                        marked = wanted;
                    }
                }
                if sampler.is_complete() {
                    break;
                }
            }
            (sampler.samples(), marked)
        })?;
        Ok(Self { chunks: Some(chunks), thread })
    }

    /// The next frames.
    pub(super) fn take(&mut self, chunk: &Arc<Chunk>, wanted: Option<Instant>) {
        if self.chunks.as_ref().is_some_and(|chunks| chunks.send((Arc::clone(chunk), wanted)).is_err()) {
            self.chunks = None;
        }
    }

    /// Once all chunks were handed in.
    ///
    /// # Panics
    ///
    /// When the thread has, with its message.
    pub(super) fn finish(self) -> Sampled {
        drop(self.chunks);
        self.thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}
