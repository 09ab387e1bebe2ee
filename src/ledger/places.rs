//! Where a route stands in the text of a record.

use crate::record::{Place, PlaceIndex, places};

/// The places of one text.
pub(super) struct Index(PlaceIndex);

impl Index {
    /// Indexes a text.
    pub(super) fn of(text: &str) -> Self {
        Self(places(text))
    }

    /// Returns the place of the key at the end of `route`, or the nearest place to it, in `file`.
    pub(super) fn key(&self, file: &str, route: &str) -> Place {
        self.0.nearest(route).map_or_else(|| Place::file(file), |stretch| stretch.place(file))
    }

    /// Returns the place of `route`, or the nearest one to it, in `file`.
    pub(super) fn place(&self, file: &str, route: &str) -> Place {
        self.0
            .find(route)
            // A value over several lines would mark half the file: its key says more.
            .filter(|stretch| !self.0.text(*stretch).contains('\n'))
            .or_else(|| self.0.nearest(route))
            .map_or_else(|| Place::file(file), |stretch| stretch.place(file))
    }
}
