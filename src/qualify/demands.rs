//! What panels use of each subject, and what they ask of it.

use super::coverage::Demand;
use super::earlier::Mark;
use super::touched::Touched;
use crate::article::{
    ArticleError, Claims, Configuration, Configurator, NoSkin, Sites, Subject, Uses, exposure_of, skin,
    zones_of,
};
use crate::ledger::Ledger;
use crate::record::LoadPath;
use foldhash::HashMap;
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::ops::Deref;
use std::sync::{Arc, OnceLock};

/// A subject as one panel uses it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Used {
    /// What it is there; panels that use equal ones share them.
    pub(super) variants: Arc<Variants>,
    /// What the panel asks of it.
    pub(super) demand: Demand,
    /// The panel's load path.
    pub(super) load_path: Option<LoadPath>,
    mark: Once,
}

/// A mark that is made once; equal values have equal ones, so that it plays no part in whether they are.
#[derive(Debug, Clone, Default)]
struct Once(OnceLock<Mark>);

impl PartialEq for Once {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

/// What a subject is with one panel: one configuration, or several where it is there in several ways.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Variants {
    all: Vec<Configuration>,
    mark: Once,
}

impl Deref for Variants {
    type Target = [Configuration];

    fn deref(&self) -> &[Configuration] {
        &self.all
    }
}

impl From<Vec<Configuration>> for Variants {
    fn from(all: Vec<Configuration>) -> Self {
        Self { all, mark: Once::default() }
    }
}

impl Variants {
    fn mark(&self) -> Mark {
        *self.mark.0.get_or_init(|| Mark::of(&self.all))
    }
}

impl Used {
    /// Returns a subject that no panel uses, of which nothing is asked but what it is.
    pub(super) fn by_none(variants: Vec<Configuration>) -> Self {
        Self { variants: Arc::new(variants.into()), ..Self::default() }
    }

    /// Returns the mark of a subject as it is used so.
    pub(super) fn mark(&self, subject: &Subject) -> Mark {
        // A field that is added has to be in it.
        let Self { variants, demand, load_path, mark } = self;
        *mark.0.get_or_init(|| Mark::of(&(subject, variants.mark(), demand, load_path)))
    }
}

/// Every subject as each panel uses it.
#[derive(Debug)]
pub(super) struct Demands {
    /// Panels in their order; what is equal in another state is shared with it.
    all: HashMap<Subject, Vec<(String, Arc<Used>)>>,
    /// The programme, which no panel uses, once somebody asks for it.
    programme: OnceLock<Arc<Used>>,
}

impl Demands {
    /// Collects them; what equals what is `known` already is shared with it, and of panels that are not `touched` since
    /// it is taken from there.
    pub(super) fn all(
        ledger: &Ledger,
        configurator: &Configurator<'_>,
        uses: &Uses,
        known: Option<&Self>,
        touched: Option<&Touched>,
    ) -> Result<Self, ArticleError> {
        let asked: Vec<_> = uses.iter().collect();
        let made: Vec<Result<_, ArticleError>> = asked
            .par_iter()
            .map(|(subject, panels)| {
                let mut used: Vec<(String, Arc<Used>)> = Vec::with_capacity(panels.len());
                let mut own: Vec<Arc<Variants>> = Vec::new();
                for (panel, sites) in *panels {
                    let before = known.and_then(|known| known.of(subject, panel));
                    if let Some(before) = before
                        && touched.is_some_and(|touched| !touched.panels.contains(panel))
                    {
                        if !own.iter().any(|known| Arc::ptr_eq(known, &before.variants)) {
                            own.push(Arc::clone(&before.variants));
                        }
                        used.push((panel.clone(), Arc::clone(before)));
                        continue;
                    }
                    let made = configurator.variants(subject, Some(panel))?;
                    let elsewhere = before.map(|used| &used.variants);
                    let variants = own.iter().chain(elsewhere).find(|known| known.all == made).cloned();
                    let variants = variants.unwrap_or_else(|| Arc::new(packed(made).into()));
                    if !own.iter().any(|known| Arc::ptr_eq(known, &variants)) {
                        own.push(Arc::clone(&variants));
                    }
                    let demand = demand(ledger, configurator, subject, panel, sites)?;
                    let load_path = ledger.panels.get(panel).and_then(|panel| panel.value.load_path);
                    let now = Used { variants, demand, load_path, mark: Once::default() };
                    let now = match before {
                        Some(before) if **before == now => Arc::clone(before),
                        _ => Arc::new(now),
                    };
                    used.push((panel.clone(), now));
                }
                Ok(((*subject).clone(), used))
            })
            .collect();
        Ok(Self { all: made.into_iter().collect::<Result<_, _>>()?, programme: OnceLock::new() })
    }

    /// Returns the programme, worked out once.
    pub(super) fn programme(&self, configurator: &Configurator<'_>) -> Result<Arc<Used>, ArticleError> {
        if let Some(known) = self.programme.get() {
            return Ok(Arc::clone(known));
        }
        let used = Arc::new(Used::by_none(configurator.variants(&Subject::Programme, None)?));
        Ok(Arc::clone(self.programme.get_or_init(|| used)))
    }

    pub(super) fn of(&self, subject: &Subject, panel: &str) -> Option<&Arc<Used>> {
        let panels = self.all.get(subject)?;
        let at = panels.binary_search_by(|(own, _)| own.as_str().cmp(panel)).ok()?;
        panels.get(at).map(|(_, used)| used)
    }

    #[cfg(test)]
    pub(super) fn iter(&self) -> impl Iterator<Item = (&Subject, &Used)> {
        self.all.iter().flat_map(|(subject, panels)| panels.iter().map(move |(_, used)| (subject, &**used)))
    }
}

/// What is kept long takes no more room than it needs.
fn packed(variants: Vec<Configuration>) -> Vec<Configuration> {
    variants.into_iter().map(Configuration::packed).collect()
}

fn demand(
    ledger: &Ledger,
    configurator: &Configurator<'_>,
    subject: &Subject,
    panel_id: &str,
    sites: &Sites,
) -> Result<Demand, ArticleError> {
    let mut found = Demand { claims: Claims::default(), ..Demand::default() };
    let mut assumed: BTreeSet<String> = BTreeSet::new();
    let mut assume = |words: String| {
        assumed.insert(words);
    };
    let Some(panel) = ledger.panels.get(panel_id) else { return Ok(found) };
    // A bond is asked what the zones of its faces are asked.
    let zones = zones_of(&panel.value, sites);
    found.claims = configurator.claims(subject, panel_id, &zones)?;
    for at in &zones {
        let Some(zone) = panel.value.zones.get(*at) else { continue };
        let exposure = exposure_of(&panel.value, zone.exposure.as_ref());
        if let Some(minimum) = &exposure.minimum {
            let own = minimum.si();
            found.minimum = Some(found.minimum.map_or(own, |known: f64| known.min(own)));
        } else {
            assume(format!("panel/{panel_id} names no lowest temperature: none is asked"));
        }
        if let Some(moisture) = &exposure.moisture {
            found.moisture.push(moisture.to_string());
        }
        match skin(ledger, panel, zone)? {
            Ok(skin) => {
                skin.assumptions.into_iter().for_each(&mut assume);
                let hotter = |known: &Option<(f64, String)>, own: f64| {
                    known.as_ref().is_none_or(|(known, _)| own > *known)
                };
                if hotter(&found.structural, skin.structural) {
                    found.structural = Some((skin.structural, skin.surface.clone()));
                }
                if hotter(&found.ramp, skin.ramp) {
                    found.ramp = Some((skin.ramp, skin.surface));
                }
            }
            Err(NoSkin::Shaded) => {}
            Err(NoSkin::Sheet) => assume(format!(
                "panel/{panel_id} zone {} is sheet: its skin temperature is not judged",
                zone.name
            )),
            Err(NoSkin::NoClimate) => {
                assume("ledger names no climate: no skin temperature is asked".to_string());
            }
            Err(NoSkin::Refused(words)) => {
                assume(format!("panel/{panel_id} zone {} has no skin temperature: {words}", zone.name));
            }
        }
    }
    found.assumptions = assumed.into_iter().map(Into::into).collect();
    found.moisture.sort();
    found.moisture.dedup();
    Ok(found)
}
