//! Numbers over time in bounded memory: the least and the greatest of every bucket of frames.

/// How many buckets there are at most; once they are full, two become one.
const MOST: usize = 16_384;

/// The least and the greatest of a number over some frames.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// The least.
    pub low: f64,
    /// The greatest.
    pub high: f64,
}

impl Extent {
    /// Of no frame.
    pub(super) const NONE: Self = Self { low: f64::INFINITY, high: f64::NEG_INFINITY };

    /// Whether there was a number at all.
    #[must_use]
    pub const fn is_any(self) -> bool {
        self.low <= self.high
    }

    const fn join(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }
}

/// Stored in any case: a processor has an instruction for that, and cannot foresee which way noise goes.
#[inline(always)]
const fn take(value: f64, low: &mut f64, high: &mut f64) {
    *low = if value < *low { value } else { *low };
    *high = if value > *high { value } else { *high };
}

/// How many groups of lanes there are: see [`super::Lane`].
pub(super) const GROUPS: usize = 6;

/// Lanes that were on at some frame, and such that were off at some frame; a bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Lanes {
    pub(super) on: [u32; GROUPS],
    pub(super) off: [u32; GROUPS],
}

impl Lanes {
    const fn of(now: [u32; GROUPS]) -> Self {
        let [a, b, c, d, e, f] = now;
        Self { on: now, off: [!a, !b, !c, !d, !e, !f] }
    }

    fn join(&mut self, other: Self) {
        for (mine, theirs) in self.on.iter_mut().zip(other.on) {
            *mine |= theirs;
        }
        for (mine, theirs) in self.off.iter_mut().zip(other.off) {
            *mine |= theirs;
        }
    }
}

/// One bucket but for its numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bucket {
    /// The first frame, in ns on the clock of the frames.
    pub first: u64,
    /// The last frame.
    pub last: u64,
    /// What its inputs and monitors were.
    pub lanes: Lanes,
}

/// What came together.
#[derive(Clone, Debug)]
pub(super) struct Finished {
    /// Frames of each bucket but for the last one.
    pub(super) per: u64,
    /// Frames of the last one.
    pub(super) of_last: u64,
    pub(super) buckets: Vec<Bucket>,
    pub(super) extents: Vec<Extent>,
}

/// Buckets in order of time, each of as many frames but for the last one.
#[derive(Clone, Debug)]
pub(super) struct Buckets<const SERIES: usize> {
    /// How many numbers a frame has.
    used: usize,
    /// Frames of a bucket.
    per: u64,
    most: usize,
    done: Vec<Bucket>,
    /// Those of all buckets, `used` each.
    extents: Vec<Extent>,
    /// Those of the open bucket. Apart, so that several are compared by one instruction.
    low: [f64; SERIES],
    high: [f64; SERIES],
    /// What lasts until it is said to be otherwise.
    lasting: [f64; SERIES],
    lanes: [u32; GROUPS],
    open: Bucket,
    left: u64,
}

impl<const SERIES: usize> Buckets<SERIES> {
    /// In bounded memory.
    pub(super) fn new(used: usize) -> Self {
        Self::of(used, MOST)
    }

    /// Every frame in a bucket of its own.
    pub(super) fn raw(used: usize) -> Self {
        Self::of(used, usize::MAX)
    }

    pub(super) fn of(used: usize, most: usize) -> Self {
        let open = Bucket { first: 0, last: 0, lanes: Lanes::default() };
        Self {
            used: used.min(SERIES),
            per: 1,
            most,
            done: Vec::new(),
            extents: Vec::new(),
            low: [Extent::NONE.low; SERIES],
            high: [Extent::NONE.high; SERIES],
            lasting: [f64::NAN; SERIES],
            lanes: [0; GROUPS],
            open,
            left: 1,
        }
    }

    /// A number of this frame.
    #[inline(always)]
    pub(super) fn put(&mut self, series: usize, value: f64) {
        if let (Some(low), Some(high)) = (self.low.get_mut(series), self.high.get_mut(series)) {
            take(value, low, high);
        }
    }

    /// The first numbers of this frame; NaN: there is none.
    #[inline(always)]
    pub(super) fn put_first<const FIRST: usize>(&mut self, values: &[f64; FIRST]) {
        let (low, high) = (self.low.first_chunk_mut::<FIRST>(), self.high.first_chunk_mut::<FIRST>());
        let (Some(low), Some(high)) = (low, high) else { return };
        // Of a length that is known: no loop is left of it.
        for (value, (low, high)) in values.iter().zip(low.iter_mut().zip(high)) {
            take(*value, low, high);
        }
    }

    /// A number of this frame and of all that follow, until it is another one; `None`: none.
    pub(super) fn last(&mut self, series: usize, value: Option<f64>) {
        if let Some(lasting) = self.lasting.get_mut(series) {
            let value = value.unwrap_or(f64::NAN);
            *lasting = value;
            self.put(series, value);
        }
    }

    /// The lanes of this frame and of all that follow, until they are others.
    pub(super) fn lanes(&mut self, lanes: [u32; GROUPS]) {
        self.lanes = lanes;
        self.open.lanes.join(Lanes::of(lanes));
    }

    /// Whether the next frame is the first of a bucket.
    #[inline(always)]
    const fn is_fresh(&self) -> bool {
        self.left == self.per
    }

    /// All numbers of a frame were put.
    #[inline(always)]
    pub(super) fn end_frame(&mut self, now: u64) {
        if self.is_fresh() {
            self.open.first = now;
        }
        self.open.last = now;
        self.left -= 1;
        if self.left == 0 {
            self.close();
        }
    }

    #[inline(never)]
    fn close(&mut self) {
        if self.done.len() == self.most {
            self.halve();
            // The open bucket goes on to be of as many frames as the others.
            self.left = self.per / 2;
            return;
        }
        self.done.push(self.open);
        self.keep_numbers();
        self.low = [Extent::NONE.low; SERIES];
        self.high = [Extent::NONE.high; SERIES];
        self.open.lanes = Lanes::default();
        self.left = self.per;
    }

    /// A frame begins at which all that lasts is as it was.
    #[inline(always)]
    pub(super) fn go_on(&mut self) {
        if self.is_fresh() {
            self.seed();
        }
    }

    #[inline(never)]
    fn seed(&mut self) {
        let lasting = self.lasting;
        self.put_first(&lasting);
        self.open.lanes = Lanes::of(self.lanes);
    }

    /// The numbers of the open bucket follow those of the others.
    fn keep_numbers(&mut self) {
        let all = self.low.into_iter().zip(self.high).take(self.used);
        self.extents.extend(all.map(|(low, high)| Extent { low, high }));
    }

    /// Two buckets become one.
    fn halve(&mut self) {
        let half = self.done.len() / 2;
        for place in 0..half {
            let (first, second) = (self.done[2 * place], self.done[2 * place + 1]);
            let mut joined = Bucket { last: second.last, ..first };
            joined.lanes.join(second.lanes);
            self.done[place] = joined;
            for series in 0..self.used {
                let at = |bucket: usize| bucket * self.used + series;
                let joined = self.extents[at(2 * place)].join(self.extents[at(2 * place + 1)]);
                self.extents[at(place)] = joined;
            }
        }
        self.done.truncate(half);
        self.extents.truncate(half * self.used);
        self.per *= 2;
    }

    /// All buckets, the last of which may be of fewer frames.
    pub(super) fn finish(mut self) -> Finished {
        let mut of_last = self.per;
        if !self.is_fresh() {
            of_last = self.per - self.left;
            self.done.push(self.open);
            self.keep_numbers();
        }
        Finished { per: self.per, of_last, buckets: self.done, extents: self.extents }
    }
}
