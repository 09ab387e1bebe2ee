//! What a showing that asks for normalised values needs: a nominal, and the columns that lead there.

use super::known::Known;
use super::ranges::{MEND_FIGURE, PART, refuse, within};
use super::sink::{At, Sink};
use super::table::Table;
use super::{Entry, Ledger, Specimen};
use crate::quantity::{Kind, Quantity};
use crate::record::{
    AttributeValue, Conformed, Evidence, EvidenceKind, EvidenceState, Figure, Level, Normalise, NormaliseTo,
    RecordKind, Showing,
};
use std::collections::BTreeMap;

/// Kinds of showings whose values fibres govern, so that normalising them means something.
///
/// # Source
/// In-plane tension, compression and modulus along fibres, notched or not, and compression after impact are
/// reported normalised; shear, transverse, interlaminar and bearing values as measured: MIL-HDBK-17-1F, volume
/// 1, section 2.4.3, and the data tables of volume 2 (from memory). What a kind is: the project's own table.
const FIBRE_DOMINATED: [&str; 4] =
    ["lamina-strength-fibre", "lamina-modulus", "open-hole", "compression-after-impact"];

/// The cured thickness of a ply's material in the attributes of what was made: a lamina has one constituent with
/// fibres, its first.
const PLY_THICKNESS: &str = "weave.thickness.a";

/// What the values of one record are brought to.
#[derive(Debug, Clone, PartialEq)]
pub struct Nominal {
    /// Cured ply thickness or fibre volume.
    pub to: NormaliseTo,
    /// In m, or a fraction.
    pub value: f64,
    /// As it was written.
    pub text: String,
    /// The material that says it; `None` where the showing does.
    pub material: Option<String>,
    /// Whether it is what the material said when the article was conformed, not what it says now.
    pub as_made: bool,
}

/// Why there is no nominal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoNominal {
    /// The subject is no ply of one material.
    Subject,
    /// The material is not in the ledger.
    Gone(String),
    /// The material has no `cured_thickness`.
    Unsaid(String),
    /// The record was conformed, but not with one nominal of the material.
    Unrecorded(String),
    /// The showing's own is unusable, or lacks where no other record says it.
    Showing,
}

impl Nominal {
    /// Returns what the values of `evidence` are brought to; `None` where the showing asks for nothing of the
    /// kind.
    ///
    /// A record that is conformed has the nominal of what was made: a later edit of the material, which no
    /// release need stand on, can't move what was shown.
    ///
    /// # Errors
    /// [`NoNominal`] where none of the showing, the record as conformed and, before that, the ply material of its
    /// own label says it.
    pub fn of(ledger: &Ledger, showing: &Showing, evidence: &Evidence) -> Option<Result<Self, NoNominal>> {
        let own = showing.normalise.as_ref()?;
        if own.nominal.is_some() || own.to == NormaliseTo::FibreVolume {
            return Some(Self::said(own).filter(Self::fits).ok_or(NoNominal::Showing));
        }
        let Some(id) = evidence.subject.lamina.as_ref().and_then(|lamina| lamina.first()) else {
            return Some(Err(NoNominal::Subject));
        };
        let id = id.as_str();
        if let Some(conformed) = &evidence.conformed {
            let made = Self::made(conformed, &evidence.measured, own.to, id).filter(Self::fits);
            return Some(made.ok_or_else(|| NoNominal::Unrecorded(id.to_string())));
        }
        let Some(material) = ledger.materials.get(id) else {
            return Some(Err(NoNominal::Gone(id.to_string())));
        };
        let thickness = material.value.cured_thickness.as_ref();
        Some(thickness.map_or_else(
            || Err(NoNominal::Unsaid(id.to_string())),
            |thickness| {
                Ok(Self {
                    to: own.to,
                    value: thickness.si(),
                    text: thickness.text().to_string(),
                    material: Some(id.to_string()),
                    as_made: false,
                })
            },
        ))
    }

    /// What the material of a ply said when the article was made.
    fn made(
        conformed: &Conformed,
        measured: &BTreeMap<String, AttributeValue>,
        to: NormaliseTo,
        id: &str,
    ) -> Option<Self> {
        // What was measured stands in the map of attributes above the nominal, and no value is normalised to
        // what was measured of it.
        let several = conformed.others.iter().any(|other| other.contains_key(PLY_THICKNESS));
        if several || measured.keys().any(|key| key.starts_with("weave.thickness")) {
            return None;
        }
        let AttributeValue::One(text) = conformed.attributes.get(PLY_THICKNESS)? else { return None };
        let value = Quantity::parse(kind_of(to), text).ok()?.si();
        Some(Self { to, value, text: text.to_string(), material: Some(id.to_string()), as_made: true })
    }

    /// What the showing itself says.
    fn said(own: &Normalise) -> Option<Self> {
        let figure = own.nominal.as_ref()?;
        let value = Quantity::parse(kind_of(own.to), figure.text()).ok()?.si();
        Some(Self { to: own.to, value, text: figure.text().to_string(), material: None, as_made: false })
    }

    /// Whether it can be a ply's.
    fn fits(&self) -> bool {
        match self.to {
            NormaliseTo::CuredThickness => (1e-9..=10.0).contains(&self.value),
            NormaliseTo::FibreVolume => self.value > 0.0 && self.value < 1.0,
        }
    }

    /// Returns whether values brought to either may be compared.
    pub fn is_same(&self, other: &Self) -> bool {
        // A billionth absorbs the conversion of units.
        self.to == other.to && (self.value - other.value).abs() <= 1e-9 * self.value.abs()
    }

    /// Returns what was measured of a specimen, in the unit of the nominal.
    pub fn measured(&self, row: &Specimen) -> Option<f64> {
        match self.to {
            NormaliseTo::CuredThickness => row.ply_thickness(),
            NormaliseTo::FibreVolume => row.fibre_volume(),
        }
    }

    /// Returns it in words, such as `a cured ply thickness of 0.21 mm`.
    pub fn words(&self) -> String {
        let made = if self.as_made { " as made" } else { "" };
        let from = self.material.as_ref().map_or(String::new(), |id| format!(" (material/{id}{made})"));
        format!("{} of {}{from}", what(self.to), self.text)
    }
}

/// What a nominal is of, with its article.
fn what(to: NormaliseTo) -> &'static str {
    match to {
        NormaliseTo::CuredThickness => "a cured ply thickness",
        NormaliseTo::FibreVolume => "a fibre volume",
    }
}

fn kind_of(to: NormaliseTo) -> Kind {
    match to {
        NormaliseTo::CuredThickness => Kind::Length,
        NormaliseTo::FibreVolume => Kind::Fraction,
    }
}

/// Judges what a showing asks for.
pub(super) fn showing(sink: &mut Sink, showing: &Showing) {
    let Some(own) = &showing.normalise else { return };
    let (at, example) = ("normalise.nominal", example(own.to));
    match (&own.nominal, Nominal::said(own)) {
        (None, _) if own.to == NormaliseTo::FibreVolume => {
            sink.error("missing-nominal", "normalise", "no record says a nominal fibre volume")
                .label("no nominal")
                .help(format!("write for example `nominal: {example}`"));
        }
        (None, _) => {}
        (Some(figure), None) => {
            sink.error("bad-nominal", at, format!("`{}` is not {}", figure.text(), what(own.to)))
                .label("other unit")
                .help(format!("write for example `nominal: {example}`"));
        }
        (Some(figure), Some(said)) => {
            let words = match own.to {
                NormaliseTo::CuredThickness => "it must be from 1 nm to 10 m",
                NormaliseTo::FibreVolume => "it must be more than 0 and less than 100 %",
            };
            if !said.fits() {
                refuse(sink, at, &format!("`{}` is out of range", figure.text()), words, MEND_FIGURE);
            }
        }
    }
    within(sink, PART, "normalise.within", own.within.as_deref());
    not_a_stress(sink, showing);
    let kind = showing.kind.as_str();
    if !FIBRE_DOMINATED.contains(&kind) {
        sink.warning(
            "not-fibre-dominated",
            "normalise",
            format!("a showing of kind `{kind}` is not known to be fibre-dominated: normalising may mislead"),
        )
        .label("normalised")
        .help(format!(
            "take `normalise` out and judge the values as measured; it is meant for {}",
            FIBRE_DOMINATED.join(", ")
        ));
    }
}

/// Only what is a force over a thickness becomes another figure with it; a temperature, a strain, a force or a
/// rating does not.
fn not_a_stress(sink: &mut Sink, showing: &Showing) {
    let accept = &showing.accept;
    let is_stress = |limit: &&Figure| {
        !limit.unit().is_empty() && Quantity::parse(Kind::Stress, &format!("1 {}", limit.unit())).is_ok()
    };
    let other = accept.limits().find(|limit| !is_stress(limit));
    let message = match other {
        Some(limit) => format!("`{}` is no stress and no modulus, so it can't be normalised", limit.text()),
        None if accept.limits().next().is_none() => {
            "the criterion is no stress and no modulus, so nothing can be normalised".to_string()
        }
        None => return,
    };
    sink.error("not-a-stress", "normalise", message)
        .label("nothing to normalise")
        .help("take `normalise` out, or write a criterion in a unit of stress, such as MPa or GPa");
}

fn example(to: NormaliseTo) -> &'static str {
    match to {
        NormaliseTo::CuredThickness => "0.21 mm",
        NormaliseTo::FibreVolume => "55 %",
    }
}

/// Judges whether a record's values can be normalised where its showing asks for that; `data` is its file with
/// what stands there.
pub(super) fn evidence(
    known: Known<'_>,
    sink: &mut Sink,
    own: &Entry<Evidence>,
    data: Option<(&str, &Table)>,
) {
    let Some(showing) = known.ledger.showings.get(own.value.showing.id()) else { return };
    let Some(nominal) = Nominal::of(known.ledger, &showing.value, &own.value) else { return };
    let asked = "normalised values are asked for here";
    let Some((file, table)) = data else {
        // An analysis states what holds for the nominal ply; a measured figure alone can't be brought there.
        let measured = matches!(
            own.value.kind,
            EvidenceKind::Test | EvidenceKind::Inspection | EvidenceKind::Equivalence
        );
        let value = own.value.result.as_ref().is_some_and(|result| result.value.is_some());
        if measured && value && own.value.data.is_none() && own.value.state == EvidenceState::Done {
            sink.error("missing-column", "result.value", "a single value can't be normalised")
                .label("not normalised")
                .help("write `data` with a file that has the specimens and what was measured of them")
                .why(&showing.file, "normalise", asked);
        }
        return;
    };
    let nominal = match nominal {
        Ok(nominal) => nominal,
        Err(why) => return no_nominal(known, sink, &why, showing),
    };
    let counted = || table.rows.iter().filter(|row| row.rejected.is_none());
    if counted().all(|row| nominal.measured(row).is_none()) && counted().next().is_some() {
        let (columns, help) = match nominal.to {
            NormaliseTo::CuredThickness => (
                "neither `ply thickness` nor `thickness` with `plies`",
                "add the column `ply thickness [mm]`, or `thickness [mm]` of the specimens and `plies`",
            ),
            NormaliseTo::FibreVolume => ("no `fibre volume`", "add the column `fibre volume [%]`"),
        };
        let message = format!("values can't be brought to {}: `{file}` has {columns}", nominal.words());
        sink.elsewhere(Level::Error, "missing-column", file, At::Line(1), message)
            .label("column missing")
            .help(help)
            .why(&showing.file, "normalise", asked);
        return;
    }
    let column = match nominal.to {
        NormaliseTo::CuredThickness => "ply thickness",
        NormaliseTo::FibreVolume => "fibre volume",
    };
    let faults = counted().filter_map(|row| {
        let specimen = &row.specimen;
        let Some(measured) = nominal.measured(row) else {
            let message = format!("specimen `{specimen}` has no {column}, so its value can't be normalised");
            return Some((
                row,
                message,
                "empty cell",
                "write what was measured, or why the specimen was rejected",
            ));
        };
        let ratio = measured / nominal.value;
        let off = !(1.0 / FURTHEST..=FURTHEST).contains(&ratio);
        off.then(|| {
            let message = format!(
                "the {column} of specimen `{specimen}` is {ratio:.2} times the nominal {}: it is no such ply",
                nominal.text
            );
            (row, message, "not this ply", "correct the figure, the unit in the header, or the nominal")
        })
    });
    for (row, message, label, help) in faults.take(MOST_SHOWN) {
        sink.elsewhere(Level::Error, "bad-data", file, At::Line(row.line), message)
            .label(label)
            .help(help)
            .why(&showing.file, "normalise", asked);
    }
}

/// Beyond this factor from nominal, either way, what was written is another thing than a ply of the material: a
/// unit that slipped, or the thickness of the whole specimen. Nearer ones are doubted, not refused.
///
/// # Source
/// The project's own rule: common practice, no source.
const FURTHEST: f64 = 2.0;

/// Rows named singly.
const MOST_SHOWN: usize = 20;

fn no_nominal(known: Known<'_>, sink: &mut Sink, why: &NoNominal, showing: &Entry<Showing>) {
    let mut nominal = format!("write `nominal` in showing/{}, for example `nominal: 0.21 mm`", showing.id);
    let mut place = None;
    let message = match why {
        NoNominal::Subject => {
            "the subject is no ply of one material, so no record says its nominal".to_string()
        }
        NoNominal::Gone(id) => format!("`{id}` is not in the ledger, so no record says its cured thickness"),
        NoNominal::Unsaid(id) => {
            nominal = format!("write `cured_thickness` in material/{id}, or {nominal}");
            place = known.ledger.materials.get(id).map(|entry| entry.file.clone());
            format!("material/{id} says no cured thickness to normalise to")
        }
        NoNominal::Unrecorded(id) => {
            format!("the record was conformed without one nominal cured thickness of material/{id}")
        }
        // It says so itself.
        NoNominal::Showing => return,
    };
    // A broken material is a fault of its own.
    if let NoNominal::Gone(id) = why
        && known.ledger.broken.contains(&crate::record::Address::new(RecordKind::Material, id.clone()))
    {
        return;
    }
    let raised = sink.error("missing-nominal", "subject", message);
    raised.label("no nominal").help(nominal).why(
        &showing.file,
        "normalise",
        "normalised values are asked for here",
    );
    if let Some(file) = place {
        raised.why(&file, "", "the material");
    }
}
