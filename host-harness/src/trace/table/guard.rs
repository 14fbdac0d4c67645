//! A decoder of somebody else, on bytes of somebody else.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// What the decoder comes to; `None` when it panics, of which nothing is printed then. What it has worked on must not be used again.
pub(super) fn guarded<T>(decode: impl FnOnce() -> T) -> Option<T> {
    static QUIET: Once = Once::new();
    QUIET.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |panic| {
            if !GUARDED.get() {
                before(panic);
            }
        }));
    });
    GUARDED.set(true);
    let outcome = catch_unwind(AssertUnwindSafe(decode));
    GUARDED.set(false);
    outcome.ok()
}
