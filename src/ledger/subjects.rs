//! Labels of subjects: one key, the right number of names, and names that are there.

use super::known::Known;
use super::sink::Sink;
use crate::quantity::Length;
use crate::record::{
    FinishRef, MaterialKind, MaterialRef, PanelRef, ProcessRef, RecipeRef, RecordKind, SubjectKind,
    SubjectLabel, Text,
};

/// Returns the kind of subject that a label names, and refuses a label that is none.
pub(super) fn kind(sink: &mut Sink, label: &SubjectLabel) -> Option<SubjectKind> {
    let SubjectLabel { lamina, laminate, painted, bond, sheet, panel, programme } = label;
    let named: Vec<(SubjectKind, usize)> = [
        (SubjectKind::Lamina, lamina.as_ref().map(Vec::len)),
        (SubjectKind::Laminate, laminate.as_ref().map(|_| 1)),
        (SubjectKind::Painted, painted.as_ref().map(Vec::len)),
        (SubjectKind::Bond, bond.as_ref().map(Vec::len)),
        (SubjectKind::Sheet, sheet.as_ref().map(Vec::len)),
        (SubjectKind::Panel, panel.as_ref().map(|_| 1)),
        (SubjectKind::Programme, programme.as_ref().map(|_| 1)),
    ]
    .into_iter()
    .filter_map(|(kind, names)| Some((kind, names?)))
    .collect();
    let [(kind, names)] = named.as_slice() else {
        sink.error("bad-subject", "subject", "a subject has exactly one key")
            .label(format!("{} keys", named.len()))
            .help("write one of `lamina`, `laminate`, `painted`, `bond`, `sheet`, `panel`, `programme`");
        return None;
    };
    let shape = match (kind, names) {
        (SubjectKind::Lamina, 2 | 3)
        | (SubjectKind::Painted, 2)
        | (SubjectKind::Bond, 4)
        | (SubjectKind::Sheet, 2)
        | (SubjectKind::Laminate | SubjectKind::Panel, _) => None,
        (SubjectKind::Programme, _) if *programme == Some(true) => None,
        (SubjectKind::Programme, _) => Some("`{programme: true}`"),
        (SubjectKind::Lamina, _) => {
            Some("prepreg and process, or fabric, resin and process: `{lamina: [cw-200-e1, oven-120]}`")
        }
        (SubjectKind::Painted, _) => {
            Some("recipe and finish or `bare`: `{painted: [hatch-outer, night-blue]}`")
        }
        (SubjectKind::Bond, _) => Some(
            "adhesive, process and two faces: `{bond: [paste-a, bond-rt, laminate.hatch-outer, sheet.acrylic-a]}`",
        ),
        (SubjectKind::Sheet, _) => Some("material and thickness: `{sheet: [acrylic-a, 4 mm]}`"),
    };
    if let Some(shape) = shape {
        let at = format!("subject.{kind}");
        sink.error("bad-subject", at, format!("this is no label of a {kind}"))
            .label("bad label")
            .help(format!("write {shape}"));
        return None;
    }
    if let Some([_, thickness]) = sheet.as_deref()
        && let Err(error) = Length::parse(thickness.as_str())
    {
        sink.error("bad-subject", "subject.sheet.2", error.to_string())
            .label("bad thickness")
            .help(error.help());
        return None;
    }
    Some(*kind)
}

/// Looks up whatever a label names.
pub(super) fn resolve(known: Known<'_>, sink: &mut Sink, label: &SubjectLabel) {
    let look = Look { known };
    match label.lamina.as_deref() {
        Some([prepreg, process]) => {
            look.material(sink, "subject.lamina.1", prepreg, &[MaterialKind::Prepreg]);
            look.process(sink, "subject.lamina.2", process);
        }
        Some([fabric, resin, process]) => {
            look.material(sink, "subject.lamina.1", fabric, &[MaterialKind::Fabric]);
            look.material(sink, "subject.lamina.2", resin, &[MaterialKind::Resin]);
            look.process(sink, "subject.lamina.3", process);
        }
        _ => {}
    }
    if let Some(recipe) = &label.laminate {
        look.recipe(sink, "subject.laminate", recipe.as_str());
    }
    if let Some([recipe, finish]) = label.painted.as_deref() {
        look.recipe(sink, "subject.painted.1", recipe.as_str());
        if finish.as_str() != "bare" {
            look.finish(sink, "subject.painted.2", finish);
        }
    }
    if let Some([adhesive, process, first, second]) = label.bond.as_deref() {
        look.material(sink, "subject.bond.1", adhesive, &[MaterialKind::Adhesive]);
        look.process(sink, "subject.bond.2", process);
        look.face(sink, "subject.bond.3", first);
        look.face(sink, "subject.bond.4", second);
    }
    if let Some([sheet, _]) = label.sheet.as_deref() {
        look.material(sink, "subject.sheet.1", sheet, &[MaterialKind::Sheet]);
    }
    if let Some(panel) = &label.panel {
        look.panel(sink, "subject.panel", panel);
    }
}

/// Labels hold words, not references, because a conformed record's label may outlive what it names.
struct Look<'a> {
    known: Known<'a>,
}

impl Look<'_> {
    fn material(&self, sink: &mut Sink, at: &str, name: &Text, kinds: &[MaterialKind]) {
        if let Some(reference) = read(sink, at, MaterialRef::parse(name.as_str())) {
            self.known.material(sink, at, &reference, kinds);
        }
    }

    fn process(&self, sink: &mut Sink, at: &str, name: &Text) {
        if let Some(reference) = read(sink, at, ProcessRef::parse(name.as_str())) {
            self.known.find(sink, at, &self.known.ledger.processes, RecordKind::Process, reference.id());
        }
    }

    fn recipe(&self, sink: &mut Sink, at: &str, name: &str) {
        if let Some(reference) = read(sink, at, RecipeRef::parse(name)) {
            self.known.find(sink, at, &self.known.ledger.recipes, RecordKind::Recipe, reference.id());
        }
    }

    fn finish(&self, sink: &mut Sink, at: &str, name: &Text) {
        if let Some(reference) = read(sink, at, FinishRef::parse(name.as_str())) {
            self.known.find(sink, at, &self.known.ledger.finishes, RecordKind::Finish, reference.id());
        }
    }

    fn panel(&self, sink: &mut Sink, at: &str, name: &Text) {
        if let Some(reference) = read(sink, at, PanelRef::parse(name.as_str())) {
            self.known.find(sink, at, &self.known.ledger.panels, RecordKind::Panel, reference.id());
        }
    }

    fn face(&self, sink: &mut Sink, at: &str, face: &Text) {
        match face.as_str().split_once('.') {
            Some(("laminate", recipe)) => self.recipe(sink, at, recipe),
            Some(("sheet", sheet)) => self.material(sink, at, &Text::from(sheet), &[MaterialKind::Sheet]),
            _ => {
                sink.error("bad-subject", at, format!("`{face}` is no face of a bond"))
                    .label("bad face")
                    .help("write `laminate.RECIPE` or `sheet.MATERIAL`");
            }
        }
    }
}

fn read<T>(sink: &mut Sink, at: &str, reference: Result<T, String>) -> Option<T> {
    match reference {
        Ok(reference) => Some(reference),
        Err(message) => {
            sink.error("bad-subject", at, message).label("bad name");
            None
        }
    }
}
