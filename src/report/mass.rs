//! The mass statement as JSON and as text.

use super::table::{Align, Table, wrap};
use crate::article::weigh::{
    Balanced, Budgeted, GroupMass, MassStatement, Method, PanelMass, Scope, UNGROUPED,
};
use crate::quantity::UnitSystem;
use serde_json::{Value, json};

/// Causes that the text lists; JSON has them all.
const CAUSES_SHOWN: usize = 5;
/// One international avoirdupois pound in kg, exact (NIST SP 811, appendix B).
pub(super) const POUND: f64 = 0.453_592_37;
/// One international inch in m, exact (NIST SP 811, appendix B).
const INCH: f64 = 0.0254;
pub(super) const CAUTION: &str =
    "An engineering aid, not approved data: masses are predicted from what the records say.";

/// Returns the statement as a document of schema `mass/1`: `design.md` section 9.
pub fn json(statement: &MassStatement) -> Value {
    let total = &statement.total;
    json!({
        "schema": "mass/1",
        "scope": scope_address(&statement.scope),
        "total": {
            "kg": total.kg,
            "low_kg": total.low_kg,
            "high_kg": total.high_kg,
            "with_growth_kg": total.with_growth_kg,
        },
        "cg_m": statement.cg_m,
        "share_without_position": statement.share_without_position,
        "groups": statement.groups.iter().map(group_json).collect::<Vec<_>>(),
        "assemblies": statement.assemblies.iter().map(|assembly| json!({
            "assembly": assembly.assembly,
            "quantity": assembly.quantity,
            "each_kg": assembly.each.kg,
            "budget_kg": assembly.each.budget_kg,
            "margin_kg": assembly.each.margin_kg,
            "margin_with_growth_kg": assembly.each.margin_with_growth_kg,
            "probability_within": assembly.each.probability_within,
        })).collect::<Vec<_>>(),
        "panels": statement.panels.iter().map(panel_json).collect::<Vec<_>>(),
        "parts": statement.parts.iter().map(|part| json!({
            "part": part.part,
            "assembly": part.assembly,
            "quantity": part.quantity,
            "kg": part.kg,
        })).collect::<Vec<_>>(),
        "spread": match statement.method {
            Method::Causes => json!({ "method": "causes" }),
            Method::MonteCarlo { seed } => json!({ "method": "monte-carlo", "seed": seed }),
        },
        "causes": causes_json(statement),
    })
}

fn scope_address(scope: &Scope) -> String {
    match scope {
        Scope::Programme => "programme".to_string(),
        Scope::Panel(id) => format!("panel/{id}"),
        Scope::Assembly(id) => format!("assembly/{id}"),
    }
}

fn group_json(group: &GroupMass) -> Value {
    json!({
        "group": group.group,
        "kg": group.kg,
        "budget_kg": group.budget_kg,
        "margin_kg": group.margin_kg,
        "margin_with_growth_kg": group.margin_with_growth_kg,
        "probability_within": group.probability_within,
        "low_kg": group.low_kg,
        "high_kg": group.high_kg,
        "with_growth_kg": group.with_growth_kg,
    })
}

fn panel_json(panel: &PanelMass) -> Value {
    json!({
        "panel": panel.panel,
        "quantity": panel.quantity,
        "each_kg": panel.each_kg,
        "kg": panel.kg,
        "contributions": panel.contributions.iter().map(|one| json!({
            "what": one.what,
            "where": one.place,
            "kg": one.kg,
        })).collect::<Vec<_>>(),
        "group": panel.group,
        "low_kg": panel.low_kg,
        "high_kg": panel.high_kg,
        "with_growth_kg": panel.with_growth_kg,
        "maturity": panel.maturity.word(),
        "weighings": panel.weighings,
        "provisional": panel.provisional,
        "residuals": panel.residuals.iter().map(|one| json!({
            "weighing": one.weighing,
            "serial": one.serial,
            "on": one.on.map(|day| day.to_string()),
            "condition": one.condition.word(),
            "weighed_kg": one.weighed_kg,
            "predicted_kg": one.predicted_kg,
            "as_built": one.as_built,
            "residual_kg": one.kg(),
            "residual_percent": one.percent(),
            "counts": panel.weighings > 0 && one.is_last,
            "standing": one.standing.word(),
        })).collect::<Vec<_>>(),
        "balance": panel.balance.map(|balance| json!({
            "moment_kg_m": balance.moment_kg_m,
            "limit_kg_m": balance.limit_kg_m,
            "share_without_position": balance.share_without_position,
            "ok": balance.ok,
        })),
    })
}

fn causes_json(statement: &MassStatement) -> Vec<Value> {
    let mut causes: Vec<_> = statement.causes.iter().collect();
    causes.sort_by(|a, b| a.cause.cmp(&b.cause));
    let one = |cause: &&crate::article::weigh::CauseEffect| json!({ "cause": cause.cause, "at_low_kg": cause.at_low_kg, "at_high_kg": cause.at_high_kg });
    causes.iter().map(one).collect()
}

/// Returns the statement as plain text for a terminal so many columns wide.
pub fn text(statement: &MassStatement, width: usize) -> String {
    let page = Page { statement, units: statement.units };
    let mut out = wrap(&page.opening(), width);
    let tables = match &statement.scope {
        Scope::Panel(_) => [Table::new([]), page.contributions(), page.scale(), page.causes()],
        Scope::Programme | Scope::Assembly(_) => [page.budgets(), page.panels(), page.scale(), page.causes()],
    };
    for table in tables.iter().filter(|table| !table.is_empty()) {
        out.push('\n');
        out.push_str(&table.render(width));
    }
    let notes = page.notes();
    if !notes.is_empty() {
        out.push('\n');
    }
    for note in notes {
        out.push_str(&wrap(&note, width));
    }
    out.push('\n');
    out.push_str(&wrap(CAUTION, width));
    out
}

pub(super) struct Page<'a> {
    pub(super) statement: &'a MassStatement,
    pub(super) units: UnitSystem,
}

/// Rounds to the decimals that are printed, and drops the sign of what rounds to nothing.
pub(super) fn decimals(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| matches!(c, '0' | '.')) => rest.to_string(),
        _ => text,
    }
}

/// A figure in per cent with its sign.
pub(super) fn plus(own: f64) -> String {
    let text = decimals(own, 1);
    let plus = if text.starts_with('-') || text == "0.0" { "" } else { "+" };
    format!("{plus}{text}")
}

fn percent(share: f64) -> String {
    format!("{} %", decimals(share * 100.0, 1))
}

impl Page<'_> {
    pub(super) fn unit(&self) -> &'static str {
        match self.units {
            UnitSystem::Si => "kg",
            UnitSystem::Imperial => "lb",
        }
    }

    pub(super) fn number(&self, kg: f64) -> String {
        match self.units {
            UnitSystem::Si => decimals(kg, 3),
            UnitSystem::Imperial => decimals(kg / POUND, 3),
        }
    }

    pub(super) fn signed(&self, kg: f64) -> String {
        let number = self.number(kg);
        if number.starts_with('-') || number.chars().all(|c| matches!(c, '0' | '.')) {
            number
        } else {
            format!("+{number}")
        }
    }

    pub(super) fn mass(&self, kg: f64) -> String {
        format!("{} {}", self.number(kg), self.unit())
    }

    fn optional(&self, kg: Option<f64>) -> String {
        kg.map_or_else(String::new, |kg| self.number(kg))
    }

    fn length(&self, metres: f64) -> String {
        match self.units {
            UnitSystem::Si => decimals(metres, 3),
            UnitSystem::Imperial => decimals(metres / INCH, 2),
        }
    }

    fn opening(&self) -> String {
        let total = &self.statement.total;
        let who = match &self.statement.scope {
            Scope::Programme => self.statement.programme.clone(),
            Scope::Panel(id) => match self.statement.panels.first() {
                Some(panel) if panel.quantity != 1 => {
                    format!("Panel {id}, all {} pieces together,", panel.quantity)
                }
                _ => format!("Panel {id}"),
            },
            Scope::Assembly(id) => format!("One assembly {id}"),
        };
        let mut text = format!("{who} weighs {}", self.mass(total.kg));
        if total.low_kg < total.kg || total.high_kg > total.kg {
            let (low, high) = (self.number(total.low_kg), self.mass(total.high_kg));
            text.push_str(&format!(" ({low} to {high} at two sigma)"));
        }
        text.push_str(&format!(", with growth {}.", self.mass(total.with_growth_kg)));
        let budgeted = self.statement.budgeted();
        let over: Vec<String> = budgeted
            .iter()
            .filter(|(_, kg, budget)| kg > budget)
            .map(|(of, kg, budget)| format!("{} by {}", of.short(), self.mass(kg - budget)))
            .collect();
        if !over.is_empty() {
            text.push_str(&format!(" Over budget: {}.", over.join(", ")));
        } else if !budgeted.is_empty() {
            let of = |one: fn(&Budgeted) -> bool| budgeted.iter().any(|(of, ..)| one(of));
            let groups = of(|of| matches!(of, Budgeted::Group(_)));
            let assemblies = of(|of| matches!(of, Budgeted::Assembly(_)));
            let what = match (groups, assemblies) {
                (true, true) => "group and assembly",
                (true, false) => "group",
                (false, _) => "assembly",
            };
            // Of a part of a group nothing is said: the budget is the whole group's.
            let is_whole = self.statement.scope == Scope::Programme;
            let groups = self.statement.groups.iter().filter(|_| is_whole);
            let without =
                groups.filter(|own| own.budget_kg.is_none() && own.kg > 0.0 && own.group != UNGROUPED);
            let without: Vec<&str> = without.map(|own| own.group.as_str()).collect();
            match without.as_slice() {
                [] => text.push_str(&format!(" Every {what} is within its budget.")),
                [one] => text.push_str(&format!(" Every budget is kept; {one} has none.")),
                some => text.push_str(&format!(" Every budget is kept; {} groups have none.", some.len())),
            }
        }
        let over = self.statement.panels.iter().filter(|panel| panel.is_over_balance());
        let over: Vec<&str> = over.map(|panel| panel.panel.as_str()).collect();
        if !over.is_empty() {
            text.push_str(&format!(" Over the limit of its balance: {}.", over.join(", ")));
        }
        text
    }

    fn budgets(&self) -> Table {
        let head = [
            ("group", Align::Left),
            (self.unit(), Align::Right),
            ("budget", Align::Right),
            ("margin", Align::Right),
            ("after growth", Align::Right),
            ("chance", Align::Right),
        ];
        let mut table = Table::new(head);
        let mut add = |group: &GroupMass, name: String| {
            table.row([
                name,
                self.number(group.kg),
                self.optional(group.budget_kg),
                group.margin_kg.map_or_else(String::new, |kg| self.signed(kg)),
                group.margin_with_growth_kg.map_or_else(String::new, |kg| self.signed(kg)),
                group.probability_within.map_or_else(String::new, percent),
            ]);
        };
        for group in &self.statement.groups {
            add(group, group.group.clone());
        }
        for assembly in self.statement.assemblies.iter().filter(|one| one.each.budget_kg.is_some()) {
            add(&assembly.each, format!("assembly {}", assembly.assembly));
        }
        table
    }

    fn panels(&self) -> Table {
        let head = [
            ("panel", Align::Left),
            ("group", Align::Left),
            ("count", Align::Right),
            ("each", Align::Right),
            (self.unit(), Align::Right),
            ("with growth", Align::Right),
            ("known", Align::Left),
        ];
        let mut table = Table::new(head);
        for panel in &self.statement.panels {
            table.row([
                panel.panel.clone(),
                panel.group.clone(),
                panel.quantity.to_string(),
                self.number(panel.one_kg()),
                self.number(panel.kg),
                self.number(panel.with_growth_kg),
                known(panel),
            ]);
        }
        for part in &self.statement.parts {
            table.row([
                format!("part {}", part.part),
                part.assembly.clone(),
                part.quantity.to_string(),
                String::new(),
                self.number(part.kg),
                self.number(part.kg),
            ]);
        }
        if !table.is_empty() {
            let total = &self.statement.total;
            let blank = String::new;
            table.rule();
            table.row([
                "sum".to_string(),
                blank(),
                blank(),
                blank(),
                self.number(total.kg),
                self.number(total.with_growth_kg),
            ]);
        }
        table
    }

    fn contributions(&self) -> Table {
        let head = [
            ("what", Align::Left),
            ("where", Align::Left),
            (self.unit(), Align::Right),
            ("share", Align::Right),
        ];
        let mut table = Table::new(head);
        let Some(panel) = self.statement.panels.first() else { return table };
        let share = |kg: f64| if panel.each_kg > 0.0 { percent(kg / panel.each_kg) } else { String::new() };
        let mut list: Vec<_> = panel.contributions.iter().collect();
        list.sort_by(|a, b| b.kg.total_cmp(&a.kg));
        for one in list {
            table.row([one.what.clone(), one.place.clone(), self.number(one.kg), share(one.kg)]);
        }
        table.rule();
        table.row([
            "sum".to_string(),
            "one panel, as predicted".to_string(),
            self.number(panel.each_kg),
            share(panel.each_kg),
        ]);
        table
    }

    /// What the scale said of each panel against its prediction.
    fn scale(&self) -> Table {
        let head = [
            ("on the scale", Align::Left),
            ("serial", Align::Left),
            ("condition", Align::Left),
            (self.unit(), Align::Right),
            ("predicted", Align::Right),
            ("residual", Align::Right),
            ("%", Align::Right),
            ("counts", Align::Left),
        ];
        let mut table = Table::new(head);
        for panel in &self.statement.panels {
            for one in &panel.residuals {
                let percent = one.percent().map_or_else(String::new, plus);
                let predicted = self.number(one.predicted_kg);
                table.row([
                    panel.panel.clone(),
                    one.serial.clone().unwrap_or_else(|| one.weighing.clone()),
                    one.condition.to_string(),
                    self.number(one.weighed_kg),
                    if one.as_built { predicted } else { format!("{predicted} now") },
                    self.signed(one.kg()),
                    percent,
                    match (panel.weighings > 0, one.is_last) {
                        (true, true) => "yes",
                        (true, false) => "no, a later one does",
                        (false, _) => "no",
                    }
                    .to_string(),
                ]);
            }
        }
        table
    }

    fn causes(&self) -> Table {
        let unit = self.unit();
        let (low, high) = (format!("low {unit}"), format!("high {unit}"));
        let head =
            [("cause of spread", Align::Left), (low.as_str(), Align::Right), (high.as_str(), Align::Right)];
        let mut table = Table::new(head);
        for cause in self.statement.causes.iter().take(CAUSES_SHOWN) {
            table.row([cause.cause.clone(), self.signed(cause.at_low_kg), self.signed(cause.at_high_kg)]);
        }
        table
    }

    fn notes(&self) -> Vec<String> {
        let statement = self.statement;
        let mut notes = Vec::new();
        let mut unclaimed =
            statement.panels.iter().filter(|one| one.weighings == 0 && !one.residuals.is_empty());
        if unclaimed.next().is_some() {
            notes.push("Weighings count where the panel's maturity is `weighed`.".to_string());
        }
        notes.extend(super::weighings::wanted(statement));
        let more = statement.causes.len().saturating_sub(CAUSES_SHOWN);
        if more > 0 {
            notes.push(format!("{more} smaller causes of spread are not shown."));
        }
        if let Method::MonteCarlo { seed } = statement.method {
            notes.push(format!("Spread sampled with seed {seed}."));
        }
        let unit = match self.units {
            UnitSystem::Si => "m",
            UnitSystem::Imperial => "in",
        };
        match statement.cg_m {
            Some(cg) => {
                let [x, y, z] = cg.map(|at| self.length(at));
                let mut note = format!("Centre of gravity x {x}, y {y}, z {z} {unit}");
                if statement.share_without_position > 0.0 {
                    let share = percent(statement.share_without_position);
                    note.push_str(&format!("; {share} of the mass has no position and is left out of it"));
                }
                notes.push(format!("{note}."));
            }
            None => notes.push("No mass has a position, so there is no centre of gravity.".to_string()),
        }
        for panel in &statement.panels {
            notes.extend(self.balance(panel));
            if panel.weighings > 0 && matches!(statement.scope, Scope::Panel(_)) {
                notes.push(format!(
                    "{} of {}: {} a panel, which stands above the prediction.",
                    weighings(panel.weighings),
                    panel.panel,
                    self.mass(panel.kg / panel.quantity.max(1) as f64)
                ));
            }
            if panel.provisional {
                notes.push(format!(
                    "{} counts as weighed but has {}: provisional, three are needed.",
                    panel.panel,
                    weighings(panel.weighings)
                ));
            }
        }
        notes
    }

    fn balance(&self, panel: &PanelMass) -> Option<String> {
        let balance = panel.balance?;
        Some(format!("Balance of {}: {}.", panel.panel, balance_words(&balance, self.units)))
    }
}

/// A moment about the hinge.
pub(super) fn moment_words(kg_m: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si => format!("{} kg m", decimals(kg_m, 4)),
        UnitSystem::Imperial => format!("{} lb in", decimals(kg_m / POUND / INCH, 3)),
    }
}

/// The balance of a movable surface, its limit, and what can be said of it.
pub(super) fn balance_words(balance: &Balanced, units: UnitSystem) -> String {
    let limit = balance.limit_kg_m.map_or_else(
        || "no limit stated".to_string(),
        |limit| format!("limit {}", moment_words(limit, units)),
    );
    let verdict = match balance.ok {
        Some(true) => "within it, all nominal: spread, growth and repaint are not in it",
        Some(false) => "over it",
        None if balance.share_without_position > 0.0 => "not decided: mass has no position",
        None => "not decided",
    };
    format!("{} about the hinge, {limit}, {verdict}", moment_words(balance.moment_kg_m, units))
}

pub(super) fn weighings(count: usize) -> String {
    match count {
        0 => "no weighing".to_string(),
        1 => "1 weighing".to_string(),
        more => format!("{more} weighings"),
    }
}

fn known(panel: &PanelMass) -> String {
    match panel.provisional {
        // How many of the three that are needed; the sentence below the table says it in words.
        true => format!("{}, {} of 3", panel.maturity, panel.weighings),
        false => panel.maturity.to_string(),
    }
}

#[cfg(test)]
mod tests;
