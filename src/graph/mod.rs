//! Records and their uses as a graph: reach and paths.

use crate::ledger::Ledger;
use crate::record::{Address, RecordKind};
use petgraph::Direction;
use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::{Bfs, EdgeRef, Reversed};
use std::collections::{BTreeMap, BTreeSet};

/// Who uses whom, and by which key.
pub struct Uses {
    graph: DiGraph<Address, String>,
    places: BTreeMap<Address, NodeIndex>,
}

/// One use: from a record, by a route, to a record.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Use {
    /// The record that uses.
    pub from: Address,
    /// The place in it.
    pub route: String,
    /// The record that is used.
    pub to: Address,
}

/// A record met on the way through the graph.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reached {
    /// The record.
    pub address: Address,
    /// How many uses away it is.
    pub depth: usize,
    /// The use by which it was met first.
    pub by: Use,
}

impl Uses {
    /// Returns the graph of a ledger.
    pub fn of(ledger: &Ledger) -> Self {
        let mut all = Self { graph: DiGraph::new(), places: BTreeMap::new() };
        for one in list(ledger) {
            let (from, to) = (all.node(&one.from), all.node(&one.to));
            all.graph.add_edge(from, to, one.route);
        }
        all
    }

    fn node(&mut self, address: &Address) -> NodeIndex {
        match self.places.get(address) {
            Some(index) => *index,
            None => {
                let index = self.graph.add_node(address.clone());
                self.places.insert(address.clone(), index);
                index
            }
        }
    }

    /// Returns what a record uses directly, sorted by route.
    pub fn uses(&self, address: &Address) -> Vec<Use> {
        self.edges(address, Direction::Outgoing)
    }

    /// Returns what uses a record directly, sorted by address.
    pub fn used_by(&self, address: &Address) -> Vec<Use> {
        self.edges(address, Direction::Incoming)
    }

    fn edges(&self, address: &Address, direction: Direction) -> Vec<Use> {
        let Some(index) = self.places.get(address) else { return Vec::new() };
        let mut all: Vec<Use> = self
            .graph
            .edges_directed(*index, direction)
            .filter_map(|edge| {
                Some(Use {
                    from: self.graph.node_weight(edge.source())?.clone(),
                    route: edge.weight().clone(),
                    to: self.graph.node_weight(edge.target())?.clone(),
                })
            })
            .collect();
        all.sort();
        all
    }

    /// Returns everything below a record, nearest first.
    pub fn reach(&self, address: &Address) -> Vec<Reached> {
        let Some(start) = self.places.get(address) else { return Vec::new() };
        let mut bfs = Bfs::new(&self.graph, *start);
        let mut order = Vec::new();
        while let Some(next) = bfs.next(&self.graph) {
            order.push(next);
        }
        self.reached(*start, order, Direction::Incoming)
    }

    /// Returns everything above a record, nearest first.
    pub fn reached_from(&self, address: &Address) -> Vec<Reached> {
        let Some(start) = self.places.get(address) else { return Vec::new() };
        self.reached(*start, self.order_above(*start), Direction::Outgoing)
    }

    /// Nodes above one and itself, nearest first.
    fn order_above(&self, start: NodeIndex) -> Vec<NodeIndex> {
        let reversed = Reversed(&self.graph);
        let mut bfs = Bfs::new(reversed, start);
        std::iter::from_fn(|| bfs.next(reversed)).collect()
    }

    /// Returns everything above a record and the record itself, in no order that means anything.
    pub fn above(&self, address: &Address) -> Vec<Address> {
        let Some(start) = self.places.get(address) else { return vec![address.clone()] };
        let order = self.order_above(*start).into_iter();
        order.filter_map(|node| self.graph.node_weight(node).cloned()).collect()
    }

    /// Returns everything below some records, in one search.
    pub fn below<'a>(&self, starts: impl IntoIterator<Item = &'a Address>) -> BTreeSet<Address> {
        let mut open: Vec<NodeIndex> =
            starts.into_iter().filter_map(|start| self.places.get(start).copied()).collect();
        let mut seen: BTreeSet<NodeIndex> = BTreeSet::new();
        while let Some(node) = open.pop() {
            open.extend(self.graph.neighbors(node).filter(|next| seen.insert(*next)));
        }
        seen.into_iter().filter_map(|node| self.graph.node_weight(node).cloned()).collect()
    }

    /// Gives each node of a breadth-first order its depth and the use that met it.
    fn reached(&self, start: NodeIndex, order: Vec<NodeIndex>, back: Direction) -> Vec<Reached> {
        let mut depths: BTreeMap<NodeIndex, usize> = BTreeMap::from([(start, 0)]);
        let mut all = Vec::new();
        for node in order.into_iter().skip(1) {
            let Some(address) = self.graph.node_weight(node) else { continue };
            let met = self
                .edges(address, back)
                .into_iter()
                .filter_map(|one| {
                    let other = if back == Direction::Incoming { &one.from } else { &one.to };
                    let depth = *depths.get(self.places.get(other)?)?;
                    Some((depth, one))
                })
                .min();
            if let Some((depth, by)) = met {
                depths.insert(node, depth + 1);
                all.push(Reached { address: address.clone(), depth: depth + 1, by });
            }
        }
        all.sort_by(|one, two| one.depth.cmp(&two.depth).then_with(|| one.address.cmp(&two.address)));
        all
    }
}

/// Lists every reference of a ledger.
pub fn list(ledger: &Ledger) -> Vec<Use> {
    let mut all = Vec::new();
    let mut add = |kind: RecordKind, id: &str, route: String, to: Address| {
        all.push(Use { from: Address::new(kind, id), route, to });
    };
    let slug = |text: &crate::record::Text| text.as_str().replace(' ', "-");
    for (id, tool) in &ledger.tools {
        if let Some(from) = &tool.value.from {
            add(RecordKind::Tool, id, "from".to_string(), from.address());
        }
    }
    for (id, finish) in &ledger.finishes {
        for (at, coat) in finish.value.coats.iter().enumerate() {
            add(RecordKind::Finish, id, format!("coats.{}.material", at + 1), coat.material.address());
        }
        if let Some(process) = &finish.value.process {
            add(RecordKind::Finish, id, "process".to_string(), process.address());
        }
    }
    for (id, recipe) in &ledger.recipes {
        add(RecordKind::Recipe, id, "process".to_string(), recipe.value.process.address());
        for (at, layer) in recipe.value.layers.iter().enumerate() {
            let place = layer.id.as_ref().map_or_else(|| (at + 1).to_string(), slug);
            add(RecordKind::Recipe, id, format!("layers.{place}.material"), layer.material.address());
        }
        if let Some(resin) = &recipe.value.resin {
            add(RecordKind::Recipe, id, "resin.material".to_string(), resin.material.address());
        }
    }
    for (id, panel) in &ledger.panels {
        let panel = &panel.value;
        if let Some(tool) = &panel.tool {
            add(RecordKind::Panel, id, "tool".to_string(), tool.address());
        }
        for zone in &panel.zones {
            let name = slug(&zone.name);
            if let Some(recipe) = &zone.recipe {
                add(RecordKind::Panel, id, format!("zones.{name}.recipe"), recipe.address());
            }
            if let Some(finish) = &zone.finish {
                add(RecordKind::Panel, id, format!("zones.{name}.finish"), finish.address());
            }
            if let Some(sheet) = &zone.sheet {
                add(RecordKind::Panel, id, format!("zones.{name}.sheet.material"), sheet.material.address());
            }
        }
        for joint in &panel.joints {
            let name = slug(&joint.name);
            add(RecordKind::Panel, id, format!("joints.{name}.adhesive"), joint.adhesive.address());
            if let Some(process) = &joint.process {
                add(RecordKind::Panel, id, format!("joints.{name}.process"), process.address());
            }
        }
        for (at, edge) in panel.edges.iter().enumerate() {
            let place = edge.name.as_ref().map_or_else(|| (at + 1).to_string(), slug);
            add(RecordKind::Panel, id, format!("edges.{place}.part"), edge.part.address());
        }
        for (at, fitting) in panel.fittings.iter().enumerate() {
            let place = fitting.name.as_ref().map_or_else(|| (at + 1).to_string(), slug);
            add(RecordKind::Panel, id, format!("fittings.{place}.part"), fitting.part.address());
        }
    }
    for (id, assembly) in &ledger.assemblies {
        for (at, child) in assembly.value.children.iter().enumerate() {
            let targets = [
                child.panel.as_ref().map(|one| ("panel", one.address())),
                child.assembly.as_ref().map(|one| ("assembly", one.address())),
                child.part.as_ref().map(|one| ("part", one.address())),
            ];
            for (key, to) in targets.into_iter().flatten() {
                add(RecordKind::Assembly, id, format!("children.{}.{key}", at + 1), to);
            }
        }
    }
    for (id, showing) in &ledger.showings {
        for (key, needed) in [("after", &showing.value.after), ("rests_on", &showing.value.rests_on)] {
            for (at, needed) in needed.iter().enumerate() {
                add(RecordKind::Showing, id, format!("{key}.{}", at + 1), needed.address());
            }
        }
        if let Some(applies) = &showing.value.applies_to {
            for material in applies.material.iter() {
                add(RecordKind::Showing, id, "applies_to.material".to_string(), material.address());
            }
            for recipe in applies.recipe.iter() {
                add(RecordKind::Showing, id, "applies_to.recipe".to_string(), recipe.address());
            }
            for panel in applies.panel.iter() {
                add(RecordKind::Showing, id, "applies_to.panel".to_string(), panel.address());
            }
        }
    }
    for (id, evidence) in &ledger.evidence {
        add(RecordKind::Evidence, id, "showing".to_string(), evidence.value.showing.address());
        for (key, other) in
            [("baseline", &evidence.value.baseline), ("supersedes", &evidence.value.supersedes)]
        {
            if let Some(other) = other {
                add(RecordKind::Evidence, id, key.to_string(), other.address());
            }
        }
    }
    for (id, concession) in &ledger.concessions {
        add(RecordKind::Concession, id, "showing".to_string(), concession.value.showing.address());
    }
    for (id, weighing) in &ledger.weighings {
        add(RecordKind::Weighing, id, "panel".to_string(), weighing.value.panel.address());
    }
    for (id, decision) in &ledger.decisions {
        if let Some(other) = &decision.value.supersedes {
            let to = ledger.decision(other.id()).map(|older| Address::new(RecordKind::Decision, &older.id));
            add(RecordKind::Decision, id, "supersedes".to_string(), to.unwrap_or_else(|| other.address()));
        }
        for (at, change) in decision.value.changes.iter().enumerate() {
            for text in change.places() {
                let record = text.split('#').next().unwrap_or(text);
                if let Some(to) = Address::parse(record) {
                    add(RecordKind::Decision, id, format!("changes.{}", at + 1), to);
                }
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reach_goes_down_and_up_with_the_keys_between() {
        let ledger = crate::qualify::tests::base();
        let uses = Uses::of(&ledger);
        let panel = Address::parse("panel/hatch").unwrap();
        let below: Vec<String> = uses.reach(&panel).iter().map(|one| one.address.to_string()).collect();
        for name in
            ["recipe/hatch-outer", "finish/white", "material/cw-200", "process/oven-120", "material/prime-x"]
        {
            assert!(below.contains(&name.to_string()), "{name} in {below:?}");
        }
        assert!(!below.contains(&"panel/float".to_string()));
        let up = uses.reached_from(&Address::parse("material/cw-200").unwrap());
        let hatch = up.iter().find(|one| one.address == panel).unwrap();
        assert_eq!((hatch.depth, hatch.by.route.as_str()), (2, "zones.outer.recipe"));
        assert!(uses.uses(&panel).iter().any(|one| one.route == "zones.outer.finish"));
    }
}
