//! The header of a data file: which columns there are, and what they are measured in.

use super::{MAX_PLIES, Reader};
use crate::quantity::{Kind, Quantity};
use crate::record::Figure;

/// What a column is read as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Role {
    Batch,
    Panel,
    Specimen,
    Value,
    Rejected,
    Units,
    Mode,
    Condition,
    Measured(Measure),
}

/// What is measured on a specimen beside its value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Measure {
    /// Thickness of one cured ply.
    PlyThickness,
    /// Thickness of the whole specimen.
    Thickness,
    /// How many plies it has.
    Plies,
    /// Fibre volume over volume.
    FibreVolume,
    /// Width.
    Width,
}

impl Measure {
    /// The name that messages use.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::PlyThickness => "ply thickness",
            Self::Thickness => "thickness",
            Self::Plies => "plies",
            Self::FibreVolume => "fibre volume",
            Self::Width => "width",
        }
    }

    /// What the value in SI must be, and how to say it.
    pub(super) fn fits(self, value: f64) -> Result<(), String> {
        let (fits, words) = match self {
            // The engineering takes no layer above 10 m (see `laminate`).
            Self::PlyThickness | Self::Thickness | Self::Width => {
                ((1e-9..=10.0).contains(&value), "from 1 nm to 10 m".to_string())
            }
            Self::Plies => {
                let whole = value.fract() == 0.0 && (1.0..=f64::from(MAX_PLIES)).contains(&value);
                (whole, format!("a whole number from 1 to {MAX_PLIES}"))
            }
            Self::FibreVolume => (value > 0.0 && value < 1.0, "more than 0 and less than 100 %".to_string()),
        };
        if fits { Ok(()) } else { Err(words) }
    }

    const fn kind(self) -> Option<Kind> {
        match self {
            Self::PlyThickness | Self::Thickness | Self::Width => Some(Kind::Length),
            Self::FibreVolume => Some(Kind::Fraction),
            Self::Plies => None,
        }
    }
}

/// Names of columns in small letters; blanks, `_` and `-` are the same in all but the first four, which every
/// file has. `thickness` is the specimen's, as laboratories report it beside the width: only its name and
/// `plies` tell a ply's from it.
const KNOWN: [(&str, Role); 21] = [
    ("batch", Role::Batch),
    ("panel", Role::Panel),
    ("specimen", Role::Specimen),
    ("value", Role::Value),
    ("rejected", Role::Rejected),
    ("unit", Role::Units),
    ("units", Role::Units),
    ("mode", Role::Mode),
    ("failure mode", Role::Mode),
    ("condition", Role::Condition),
    ("ply thickness", Role::Measured(Measure::PlyThickness)),
    ("cured ply thickness", Role::Measured(Measure::PlyThickness)),
    ("thickness", Role::Measured(Measure::Thickness)),
    ("laminate thickness", Role::Measured(Measure::Thickness)),
    ("specimen thickness", Role::Measured(Measure::Thickness)),
    ("plies", Role::Measured(Measure::Plies)),
    ("number of plies", Role::Measured(Measure::Plies)),
    ("fibre volume", Role::Measured(Measure::FibreVolume)),
    ("fiber volume", Role::Measured(Measure::FibreVolume)),
    ("width", Role::Measured(Measure::Width)),
    ("specimen width", Role::Measured(Measure::Width)),
];

/// A column of numbers beside the value.
#[derive(Debug, Clone, Copy)]
pub(super) struct Numbers {
    pub(super) measure: Measure,
    pub(super) at: usize,
    /// What one of its unit is in SI.
    pub(super) scale: f64,
}

/// Where the columns stand.
#[derive(Debug)]
pub(super) struct Columns {
    pub(super) batch: usize,
    pub(super) panel: usize,
    pub(super) specimen: usize,
    pub(super) value: usize,
    pub(super) rejected: Option<usize>,
    pub(super) units: Option<usize>,
    pub(super) mode: Option<usize>,
    pub(super) condition: Option<usize>,
    pub(super) measured: Vec<Numbers>,
    /// Columns that are kept as they stand.
    pub(super) others: Vec<usize>,
    pub(super) count: usize,
}

/// What a header says.
pub(super) struct Head {
    pub(super) columns: Columns,
    /// Unit of the values.
    pub(super) unit: Option<String>,
    /// Names of the columns that are not known, as written.
    pub(super) others: Vec<String>,
}

const HELP: &str = "write the header `batch,panel,specimen,value [MPa]`, and `rejected` where needed";

/// One cell: the name in small letters, and the unit in brackets; `None` inside where they are not closed.
fn cell_of(cell: &str) -> (String, Option<Option<&str>>) {
    let (name, unit) = match cell.split_once('[') {
        Some((name, inside)) => (name, Some(inside.trim().strip_suffix(']').map(str::trim))),
        None => (cell, None),
    };
    (name.trim().to_lowercase(), unit)
}

fn role_of(name: &str) -> Option<Role> {
    let known = |name: &str| KNOWN.iter().find(|(own, _)| *own == name).map(|(_, role)| *role);
    known(name).or_else(|| {
        let plain: Vec<&str> = name.split([' ', '_', '-']).filter(|word| !word.is_empty()).collect();
        known(&plain.join(" "))
    })
}

impl Reader<'_> {
    /// Reads the header; `None` where rows can't be read by it.
    pub(super) fn header(&mut self, line: usize, header: &csv::StringRecord) -> Option<Head> {
        let mut roles: Vec<(Role, usize)> = Vec::new();
        let mut names: Vec<String> = Vec::new();
        let (mut measured, mut others, mut kept) = (Vec::new(), Vec::new(), Vec::new());
        let mut unit = None;
        for (index, cell) in header.iter().enumerate() {
            let (name, own_unit) = cell_of(cell);
            let role = role_of(&name);
            let first = role.and_then(|role| roles.iter().find(|(known, _)| *known == role));
            let other = first.and_then(|(_, at)| header.get(*at)).map(|other| cell_of(other).0);
            let twice = other.is_some() || role.is_none() && names.contains(&cell.to_lowercase());
            if twice && !name.is_empty() {
                let message = match other.filter(|other| *other != name) {
                    Some(other) => format!("the columns `{other}` and `{name}` say the same"),
                    None => format!("the column `{name}` is there twice"),
                };
                self.fault(line, message, "column twice", "keep one of them");
                continue;
            }
            let Some(role) = role else {
                names.push(cell.to_lowercase());
                if !cell.is_empty() {
                    others.push(index);
                    kept.push(cell.to_string());
                }
                continue;
            };
            roles.push((role, index));
            let own_unit = match own_unit {
                Some(None) => {
                    self.fault(line, format!("the unit in `{cell}` is not closed"), "no `]`", HELP);
                    continue;
                }
                Some(unit) => unit.filter(|unit| !unit.is_empty()),
                None => None,
            };
            match role {
                Role::Value => unit = own_unit.map(str::to_string),
                Role::Measured(measure) => {
                    if let Some(scale) = self.scale(line, measure, own_unit) {
                        measured.push(Numbers { measure, at: index, scale });
                    }
                }
                _ => {}
            }
        }
        if let Some(unit) = &unit
            && let Err(error) = Figure::parse(&format!("1 {unit}"))
        {
            let help = "write the unit of the values, for example `value [MPa]`";
            self.fault(line, error, "unknown unit", help);
        }
        let place = |role: Role| roles.iter().find(|(own, _)| *own == role).map(|(_, index)| *index);
        let needed = [Role::Batch, Role::Panel, Role::Specimen, Role::Value].map(place);
        let missing: Vec<String> = ["batch", "panel", "specimen", "value"]
            .iter()
            .zip(needed)
            .filter(|(_, place)| place.is_none())
            .map(|(name, _)| format!("`{name}`"))
            .collect();
        if !missing.is_empty() {
            self.fault(line, format!("the header lacks {}", missing.join(", ")), "columns missing", HELP);
        }
        let [batch, panel, specimen, value] = needed;
        let columns = Columns {
            batch: batch?,
            panel: panel?,
            specimen: specimen?,
            value: value?,
            rejected: place(Role::Rejected),
            units: place(Role::Units),
            mode: place(Role::Mode),
            condition: place(Role::Condition),
            measured,
            others,
            count: header.len(),
        };
        Some(Head { columns, unit, others: kept })
    }

    /// What one of a column's unit is in SI.
    fn scale(&mut self, line: usize, measure: Measure, unit: Option<&str>) -> Option<f64> {
        let word = measure.word();
        // What has no dimension may say so.
        let bare = unit.is_some_and(|unit| ["-", "1"].contains(&unit));
        match (measure.kind(), unit) {
            (Some(Kind::Fraction), _) | (None, _) if bare => Some(1.0),
            (None, None) => Some(1.0),
            (None, Some(unit)) => {
                let message = format!("`{word}` counts, but has the unit `{unit}`");
                self.fault(line, message, "a count has no unit", "take the unit out");
                None
            }
            (Some(kind), unit) => {
                let example = if kind == Kind::Length { "mm" } else { "%" };
                let parsed = unit.map(|unit| Quantity::parse(kind, &format!("1 {unit}")));
                let (message, label) = match (unit, parsed) {
                    (Some(_), Some(Ok(one))) => return Some(one.si()),
                    (Some(unit), _) => (format!("the column `{word}` can't be in `{unit}`"), "other unit"),
                    // 55 and 0.55 are both written for a share.
                    (None, _) => (format!("the column `{word}` has no unit"), "no unit"),
                };
                let help = if example == "mm" {
                    "write the unit in the header, for example `thickness [mm]`"
                } else {
                    "write the unit in the header: `fibre volume [%]`, or `fibre volume [-]` for a fraction"
                };
                self.fault(line, message, label, help);
                None
            }
        }
    }
}
