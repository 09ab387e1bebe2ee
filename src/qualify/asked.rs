//! Which subjects, and which panels that use them, a showing is asked of.

use super::live::needs_are_there;
use super::table::OnlyWhere;
use super::verdict::Room;
use crate::article::{ArticleError, Face, LayerRole, Sites, Subject, exposure_of, lamina_in, zones_of};
use crate::ledger::Entry;
use crate::record::{AppliesTo, Class, Exposure, Panel};

impl Room<'_> {
    /// `material` and `recipe` of `applies_to` narrow the subject.
    pub(super) fn contains(&self, subject: &Subject) -> Result<bool, ArticleError> {
        let Some(AppliesTo { material, recipe, .. }) = &self.showing.value.applies_to else {
            return Ok(true);
        };
        if !recipe.is_empty() {
            let mut any = false;
            for wanted in recipe.iter() {
                any |= match subject {
                    Subject::Laminate(own) | Subject::Painted(own, _) => own == wanted.id(),
                    Subject::Lamina { .. } => match self.ledger.recipes.get(wanted.id()) {
                        Some(entry) => lamina_in(self.ledger, subject, entry)?,
                        None => false,
                    },
                    Subject::Bond { faces, .. } => {
                        faces.iter().any(|face| *face == Face::Laminate(wanted.id().to_string()))
                    }
                    Subject::Panel(panel) => self.ledger.panels.get(panel).is_some_and(|panel| {
                        let uses = |zone: &crate::record::Zone| {
                            zone.recipe.as_ref().is_some_and(|own| own.id() == wanted.id())
                        };
                        panel.value.zones.iter().any(uses)
                    }),
                    Subject::Sheet(..) | Subject::Programme => false,
                };
            }
            if !any {
                return Ok(false);
            }
        }
        if !material.is_empty() {
            return Ok(material
                .iter()
                .any(|wanted| super::rests::uses_material(self.ledger, subject, wanted.id())));
        }
        Ok(true)
    }

    /// The other keys of `applies_to` narrow the panels: here those that no subject plays a part in.
    pub(super) fn takes(&self, panel: &Entry<Panel>) -> bool {
        let Some(applies) = &self.showing.value.applies_to else { return true };
        let value = &panel.value;
        applies.class.is_none_or(|class| value.class.unwrap_or(Class::Structural) == class)
            && (applies.group.is_empty()
                || applies.group.iter().any(|group| Some(group) == value.group.as_ref()))
            && (applies.panel.is_empty() || applies.panel.iter().any(|id| id.id() == panel.id))
            && applies.load_path.is_none_or(|path| value.load_path == Some(path))
    }

    /// Whether a panel that is taken is asked for this subject.
    pub(super) fn applies(
        &self,
        panel: &Entry<Panel>,
        sites: &Sites,
        subject: &Subject,
    ) -> Result<bool, ArticleError> {
        let Some(applies) = &self.showing.value.applies_to else { return Ok(true) };
        let value = &panel.value;
        if *subject == Subject::Programme && !self.contains_panel(panel)? {
            return Ok(false);
        }
        match &applies.exposure {
            Some(asked) => Ok(exposures(value, sites).iter().any(|own| every_key_equal(asked, own))),
            None => Ok(true),
        }
    }

    fn contains_panel(&self, panel: &Entry<Panel>) -> Result<bool, ArticleError> {
        self.contains(&Subject::Panel(panel.id.clone()))
    }

    /// Whether the subject, or the panel that uses it, has what the kind tests.
    pub(super) fn has(
        &self,
        panel: &Entry<Panel>,
        sites: &Sites,
        subject: &Subject,
    ) -> Result<bool, ArticleError> {
        let value = &panel.value;
        let exposed = |holds: &dyn Fn(&Exposure) -> bool| exposures(value, sites).iter().any(holds);
        let layer = |role: LayerRole| -> Result<bool, ArticleError> {
            for zone in sites.zones.iter().filter_map(|at| value.zones.get(*at)) {
                if let Some(recipe) =
                    zone.recipe.as_ref().and_then(|recipe| self.ledger.recipes.get(recipe.id()))
                    && crate::article::expand(self.ledger, recipe)?.iter().any(|layer| layer.role == role)
                {
                    return Ok(true);
                }
            }
            Ok(false)
        };
        let sheet_face = || match subject {
            Subject::Bond { faces, .. } => faces.iter().any(|face| matches!(face, Face::Sheet(_))),
            _ => false,
        };
        let holes = value.holes.as_ref().is_some_and(|holes| holes.largest.is_some());
        let outdoor =
            |exposure: &Exposure| exposure.zone.as_ref().is_some_and(|zone| zone.as_str() == "outdoor");
        let painted = match subject {
            Subject::Painted(_, finish) => finish.is_some(),
            _ => sites.zones.iter().filter_map(|at| value.zones.get(*at)).any(|zone| zone.finish.is_some()),
        };
        Ok(match self.row.only_where {
            OnlyWhere::None => true,
            OnlyWhere::Core => layer(LayerRole::Core)?,
            OnlyWhere::Fittings => !value.fittings.is_empty(),
            OnlyWhere::FittingsOrHoles => !value.fittings.is_empty() || holes,
            OnlyWhere::Compartment => exposed(&|exposure| exposure.compartment == Some(true)),
            OnlyWhere::Lightning => exposed(&|exposure| exposure.lightning.is_some()),
            OnlyWhere::Painted => painted,
            OnlyWhere::PaintedOutdoor => painted && exposed(&outdoor),
            OnlyWhere::NoSheetFace => !sheet_face(),
            OnlyWhere::SheetFace => {
                sheet_face()
                    || matches!(subject, Subject::Panel(_))
                        && value.zones.iter().any(|zone| zone.sheet.is_some())
            }
            OnlyWhere::MeshOrLightning => {
                layer(LayerRole::Mesh)? || exposed(&|exposure| exposure.lightning.is_some())
            }
            OnlyWhere::Fluids => exposed(&|exposure| !exposure.fluids.is_empty()),
            OnlyWhere::WhatTheCheckNeeds => {
                needs_are_there(self.showing.value.computed_check(), self.ledger, value)?
            }
        })
    }
}

fn exposures(panel: &Panel, sites: &Sites) -> Vec<Exposure> {
    let mut all: Vec<Exposure> = zones_of(panel, sites)
        .iter()
        .filter_map(|at| panel.zones.get(*at))
        .map(|zone| exposure_of(panel, zone.exposure.as_ref()))
        .collect();
    if all.is_empty() {
        all.push(exposure_of(panel, None));
    }
    all
}

fn every_key_equal(asked: &Exposure, own: &Exposure) -> bool {
    fn holds<T: PartialEq>(asked: &Option<T>, own: &Option<T>) -> bool {
        asked.is_none() || asked == own
    }
    let compartment = asked.compartment.is_none_or(|asked| asked == own.compartment.unwrap_or(false));
    let sun = asked.sun.is_none_or(|asked| asked == own.sun.unwrap_or(true));
    let minimum = match (&asked.minimum, &own.minimum) {
        (None, _) => true,
        (Some(asked), Some(own)) => (asked.si() - own.si()).abs() < 1e-9,
        (Some(_), None) => false,
    };
    holds(&asked.zone, &own.zone)
        && holds(&asked.lightning, &own.lightning)
        && holds(&asked.moisture, &own.moisture)
        && compartment
        && sun
        && minimum
        && asked.fluids.iter().all(|fluid| own.fluids.contains(fluid))
}
