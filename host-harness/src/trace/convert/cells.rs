//! Cells of typed columns held back until there are enough of them to be written.

use super::super::table::{Cells, Chunk, Present};

/// A column of cells, those that are missing included.
pub(super) struct Held {
    pub(super) cells: Cells,
    /// As long as the cells once one is missing; before that, nothing.
    present: Vec<bool>,
}

/// All columns, row by row as they come.
pub(super) struct HeldRows {
    pub(super) columns: Vec<Held>,
    pub(super) rows: usize,
}

impl HeldRows {
    pub(super) fn new(columns: usize) -> Self {
        let empty = || Held { cells: Cells::Integers(Vec::new()), present: Vec::new() };
        Self { columns: std::iter::repeat_with(empty).take(columns).collect(), rows: 0 }
    }

    /// Takes `rows` rows of a chunk, from `from` on.
    pub(super) fn take(&mut self, chunk: &Chunk, from: usize, rows: usize) {
        for (held, (cells, present)) in self.columns.iter_mut().zip(&chunk.columns) {
            held.take(cells, present, from, rows, self.rows);
        }
        self.rows += rows;
    }

    pub(super) fn clear(&mut self) {
        for held in &mut self.columns {
            held.present.clear();
            match &mut held.cells {
                Cells::Integers(cells) => cells.clear(),
                Cells::Unsigned(cells) => cells.clear(),
                Cells::Reals(cells) => cells.clear(),
                Cells::Bools(cells) => cells.clear(),
            }
        }
        self.rows = 0;
    }
}

impl Held {
    fn take(&mut self, cells: &Cells, present: &Present, from: usize, rows: usize, before: usize) {
        let to = from + rows;
        match (&mut self.cells, cells) {
            (Cells::Integers(held), Cells::Integers(cells)) => held.extend_from_slice(&cells[from..to]),
            (Cells::Unsigned(held), Cells::Unsigned(cells)) => held.extend_from_slice(&cells[from..to]),
            (Cells::Reals(held), Cells::Reals(cells)) => held.extend_from_slice(&cells[from..to]),
            (Cells::Bools(held), Cells::Bools(cells)) => held.extend_from_slice(&cells[from..to]),
            // The first chunk of another type than integers.
            (held, Cells::Unsigned(cells)) => *held = Cells::Unsigned(cells[from..to].to_vec()),
            (held, Cells::Reals(cells)) => *held = Cells::Reals(cells[from..to].to_vec()),
            (held, Cells::Bools(cells)) => *held = Cells::Bools(cells[from..to].to_vec()),
            (held, Cells::Integers(cells)) => *held = Cells::Integers(cells[from..to].to_vec()),
        }
        match present {
            Some(present) => {
                self.present.resize(before, true);
                self.present.extend_from_slice(&present[from..to]);
            }
            None if !self.present.is_empty() => self.present.resize(before + rows, true),
            None => {}
        }
    }

    /// Which cells are there; `None`: all.
    pub(super) fn present(&self) -> Option<&[bool]> {
        (!self.present.is_empty()).then_some(self.present.as_slice())
    }

    /// The whole numbers in a narrower type, in which they were stored before; the first that does not fit is an error. What stands in a cell
    /// that is missing is anything.
    pub(super) fn narrow<T: Copy + Default + TryFrom<i64>>(&self, cells: &[i64]) -> Result<Vec<T>, String> {
        let is_there = |place: usize| self.present().is_none_or(|present| present[place]);
        let narrow = |(place, &cell): (usize, &i64)| match T::try_from(cell) {
            Ok(cell) => Ok(cell),
            Err(_) if !is_there(place) => Ok(T::default()),
            Err(_) => Err(format!("{cell} is beyond the type that its column had")),
        };
        cells.iter().enumerate().map(narrow).collect()
    }

    /// The cells that are there.
    pub(super) fn found<T: Copy>(&self, cells: &[T]) -> Vec<T> {
        match self.present() {
            None => cells.to_vec(),
            Some(present) => {
                cells.iter().zip(present).filter(|(_, there)| **there).map(|(&cell, _)| cell).collect()
            }
        }
    }
}
