//! Reading on a thread of its own.

use std::io;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;

use monitor_core::Frame;

use super::error::TraceError;
use super::offered::Offered;
use super::packed::Packed;
use super::reader::Reader;

/// How many batches may wait for the consumer.
const WAITING: usize = 2;

/// A [`Reader`] that reads ahead on a thread of its own, so that one core parses while another one steps.
///
/// The batches go round: those that the consumer has finished with are filled again, so nothing is allocated
/// after the first few. Dropped early, the thread ends at its next batch.
#[derive(Debug)]
pub struct Prefetch {
    filled: Receiver<(Packed, Vec<Offered>, Result<bool, TraceError>)>,
    spare: SyncSender<Packed>,
    thread: Option<JoinHandle<Reader>>,
    reader: Option<Reader>,
    offered: Vec<Offered>,
}

impl Prefetch {
    /// Starts reading ahead.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(mut reader: Reader) -> io::Result<Self> {
        let (to_consumer, filled) = sync_channel(WAITING);
        // All batches in flight fit: those waiting, one on either side.
        let (spare, to_reader) = sync_channel::<Packed>(WAITING + 2);
        let thread = std::thread::Builder::new().name("trace reader".to_owned()).spawn(move || {
            loop {
                let mut packed = to_reader.try_recv().unwrap_or_default();
                let outcome = reader.next(&mut packed);
                let more = matches!(outcome, Ok(true));
                // The consumer may have gone: then nobody wants the rest.
                if to_consumer.send((packed, reader.take_offered(), outcome)).is_err() || !more {
                    return reader;
                }
            }
        })?;
        Ok(Self { filled, spare, thread: Some(thread), reader: None, offered: Vec::new() })
    }

    /// As [`Reader::next_batch`].
    ///
    /// # Errors
    /// As [`Reader::next_batch`].
    ///
    /// # Panics
    /// When the reading thread has panicked, with its message.
    pub fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError> {
        batch.clear();
        self.offered.clear();
        if self.thread.is_none() {
            return Ok(false);
        }
        match self.filled.recv() {
            Ok((fresh, offered, outcome)) => {
                fresh.unpack(batch);
                self.offered = offered;
                // A full channel cannot be: it has room for all batches there are. A closed one says that the
                // reader is through.
                let _ = self.spare.try_send(fresh);
                if !matches!(outcome, Ok(true)) {
                    self.join();
                }
                outcome
            }
            Err(_) => {
                self.join();
                Ok(false)
            }
        }
    }

    /// As [`Reader::offered`].
    #[must_use]
    pub fn offered(&self) -> &[Offered] {
        &self.offered
    }

    /// The reader with its summary and its list of rows left out, once the end (or an error) has been reached;
    /// before that, `None`.
    #[must_use]
    pub const fn reader(&self) -> Option<&Reader> {
        self.reader.as_ref()
    }

    fn join(&mut self) {
        if let Some(thread) = self.thread.take() {
            match thread.join() {
                Ok(reader) => self.reader = Some(reader),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
    }
}
