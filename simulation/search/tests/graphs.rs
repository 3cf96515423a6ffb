//! The search on random graphs, beside a general library for graphs (`petgraph`) and beside a walk in a few lines.

use packstaff_search::{Found, Limits, Look, Model, Progress, Stuck, Unfinished, Until, Watch, search};
use petgraph::algo::dijkstra;
use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::{EdgeRef, Reversed};
use proptest::prelude::*;
use std::collections::{BTreeMap, HashMap, VecDeque};

/// A graph, searched from some of its nodes. Its steps are the nodes that they lead to.
#[derive(Clone, Debug)]
struct Graph {
    beginnings: Vec<usize>,
    edges: Vec<Vec<usize>>,
    /// Nodes at which a claim does not hold.
    bad: Vec<bool>,
    /// Nodes at which the path is at its goal. From all others it takes the first edge, at a cost of the node's number.
    goals: Vec<bool>,
    /// Nodes that cannot be looked at.
    faulty: Vec<bool>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Claim {
    Good,
    Small,
    Arrives,
}

impl Model for Graph {
    type State = usize;
    type Step = usize;
    type Claim = Claim;
    type Path = u8;
    type Count = usize;
    type Fault = usize;

    fn beginnings(&self) -> Vec<(usize, usize)> {
        self.beginnings.iter().map(|node| (*node, *node)).collect()
    }

    fn key(&self, state: &usize) -> u128 {
        *state as u128
    }

    fn look(&self, state: &usize, look: &mut Look<'_, Self>) -> Result<(), usize> {
        let node = *state;
        if self.faulty[node] {
            return Err(node);
        }
        if self.bad[node] {
            look.violates(Claim::Good, format!("{node}"));
        }
        for (index, next) in self.edges[node].iter().enumerate() {
            look.count += 1;
            if self.bad[*next] {
                look.violates_on(*next, Claim::Small, format!("{node} to {next}"));
            }
            let key = look.step(*next, *next);
            assert_eq!(key, *next as u128);
            if index == 0 {
                look.continues(0, key, node as u32);
            }
        }
        if self.goals[node] {
            look.arrives(0, 1);
        }
        look.must_arrive(0);
        Ok(())
    }

    fn never_arrives(&self, _: u8, why: Stuck) -> (Claim, String) {
        (Claim::Arrives, format!("{why:?}"))
    }
}

/// What a listener heard.
#[derive(Debug, Default, PartialEq, Eq)]
struct Heard {
    reached: Vec<(Option<usize>, usize)>,
    looked_at: Vec<usize>,
    counted: usize,
    last: Option<(usize, usize)>,
}

impl Watch<Graph> for Heard {
    fn reached(&mut self, from: Option<&usize>, state: &usize) {
        self.reached.push((from.copied(), *state));
    }

    fn looked_at(&mut self, state: &usize, count: usize) {
        self.looked_at.push(*state);
        self.counted += count;
    }

    fn progress(&mut self, progress: Progress) {
        self.last = Some((progress.states, progress.ahead));
    }
}

const NODES: usize = 24;

fn graphs() -> impl Strategy<Value = Graph> {
    let node = || 0..NODES;
    let flags = |part| prop::collection::vec(prop::bool::weighted(part), NODES);
    (
        prop::collection::vec(node(), 1..4),
        prop::collection::vec(prop::collection::vec(node(), 0..4), NODES),
        flags(0.05),
        flags(0.2),
    )
        .prop_map(|(beginnings, edges, bad, goals)| Graph {
            beginnings,
            edges,
            bad,
            goals,
            faulty: vec![false; NODES],
        })
}

impl Graph {
    fn searched(&self, portion: usize) -> (Found<Self>, Heard) {
        let mut heard = Heard::default();
        let limits = Limits {
            portion,
            ..Limits::default()
        };
        let found = search(self, &limits, &mut heard).unwrap();
        (found, heard)
    }

    /// Steps from a beginning to each node that can be reached, by a library. A node beside the others leads to the beginnings.
    fn distances(&self) -> HashMap<usize, usize> {
        let mut graph = DiGraph::<(), ()>::new();
        let nodes: Vec<NodeIndex> = (0..=NODES).map(|_| graph.add_node(())).collect();
        for (from, edges) in self.edges.iter().enumerate() {
            edges.iter().for_each(|to| {
                graph.add_edge(nodes[from], nodes[*to], ());
            });
        }
        self.beginnings.iter().for_each(|to| {
            graph.add_edge(nodes[NODES], nodes[*to], ());
        });
        let found = dijkstra(&graph, nodes[NODES], None, |_| 1_usize);
        let within = found.into_iter().filter(|(node, _)| node.index() < NODES);
        within.map(|(node, steps)| (node.index(), steps)).collect()
    }

    /// The order in which a search in a few lines comes to the nodes, and from which.
    fn walked(&self) -> Vec<(Option<usize>, usize)> {
        let mut open = VecDeque::new();
        let mut reached = Vec::<(Option<usize>, usize)>::new();
        let mut take = |from, to: usize, open: &mut VecDeque<usize>| {
            if reached.iter().all(|(_, known)| *known != to) {
                reached.push((from, to));
                open.push_back(to);
            }
        };
        self.beginnings.iter().for_each(|node| take(None, *node, &mut open));
        while let Some(node) = open.pop_front() {
            self.edges[node].iter().for_each(|to| take(Some(node), *to, &mut open));
        }
        reached
    }

    /// Whether a story begins at a beginning, and each of its steps is there.
    fn has(&self, story: &[usize]) -> bool {
        story.first().is_some_and(|first| self.beginnings.contains(first))
            && story.windows(2).all(|pair| self.edges[pair[0]].contains(&pair[1]))
    }

    /// Nodes from which the path comes to a goal, by a library, from the goals backwards; and what it costs.
    fn arriving(&self) -> BTreeMap<usize, u64> {
        let mut graph = DiGraph::<(), u64>::new();
        let nodes: Vec<NodeIndex> = (0..=NODES).map(|_| graph.add_node(())).collect();
        for (from, edges) in self.edges.iter().enumerate() {
            match (self.goals[from], edges.first()) {
                (true, _) => {
                    graph.add_edge(nodes[from], nodes[NODES], 1);
                }
                (false, Some(to)) => {
                    graph.add_edge(nodes[from], nodes[*to], from as u64);
                }
                (false, None) => {}
            }
        }
        let found = dijkstra(Reversed(&graph), nodes[NODES], None, |edge| *edge.weight());
        let within = found.into_iter().filter(|(node, _)| node.index() < NODES);
        within.map(|(node, cost)| (node.index(), cost)).collect()
    }
}

proptest! {
    #[test]
    fn every_state_is_reached_by_a_shortest_way(graph in graphs()) {
        let (found, heard) = graph.searched(1 << 12);
        let distances = graph.distances();
        prop_assert!(found.to_the_end);
        prop_assert_eq!(found.tree.len(), distances.len());
        prop_assert_eq!(found.levels, distances.values().copied().max().unwrap_or(0));
        for key in found.tree.keys() {
            let node = key as usize;
            let story = found.tree.story(key);
            prop_assert!(graph.has(&story));
            prop_assert_eq!(story.last(), Some(&node));
            prop_assert_eq!(Some(&story.len()), distances.get(&node));
            prop_assert_eq!(found.tree.depth(key), story.len());
        }
        let edges: usize = distances.keys().map(|node| graph.edges[*node].len()).sum();
        prop_assert_eq!(heard.counted, edges);
        prop_assert_eq!(heard.last, Some((distances.len(), 0)));
    }

    #[test]
    fn the_order_is_that_of_a_plain_search(graph in graphs()) {
        let (found, heard) = graph.searched(1 << 12);
        let walked = graph.walked();
        prop_assert_eq!(&heard.reached, &walked);
        prop_assert_eq!(&heard.looked_at, &walked.iter().map(|(_, node)| *node).collect::<Vec<_>>());
        // Whatever the portions are.
        for portion in [0, 1, 3] {
            let (other, heard_too) = graph.searched(portion);
            prop_assert_eq!(&heard_too.reached, &heard.reached);
            let stories = |found: &Found<Graph>| {
                let told = found.violations.iter().map(|told| (told.claim, told.seen.clone(), told.story.clone()));
                told.collect::<Vec<_>>()
            };
            prop_assert!(stories(&other) == stories(&found));
        }
    }

    #[test]
    fn a_claim_is_violated_at_the_nearest_bad_state(graph in graphs()) {
        let distances = graph.distances();
        let bad = |node: &usize| graph.bad[*node];
        let nearest = distances.iter().filter(|(node, _)| bad(node)).map(|(_, steps)| *steps).min();
        let (found, _) = graph.searched(1 << 12);
        let told = |found: &Found<Graph>, claim| {
            found.violations.iter().find(|told| told.claim == claim).map(|told| told.story.clone())
        };
        let story = told(&found, Claim::Good);
        prop_assert_eq!(story.as_ref().map(Vec::len), nearest);
        if let Some(story) = &story {
            prop_assert!(graph.has(story) && story.last().is_some_and(bad));
        }
        // A claim about steps: the last step of the story is the one on which it does not hold.
        let before = distances.iter().filter(|(node, _)| graph.edges[**node].iter().any(&bad));
        let nearest_step = before.map(|(_, steps)| steps + 1).min();
        let story = told(&found, Claim::Small);
        prop_assert_eq!(story.as_ref().map(Vec::len), nearest_step);
        prop_assert!(story.is_none_or(|story| graph.has(&story) && story.last().is_some_and(bad)));

        let limits = Limits { until: Until::FirstViolation, ..Limits::default() };
        let stopped = search(&graph, &limits, &mut ()).unwrap();
        let first = nearest.into_iter().chain(nearest_step.map(|steps| steps - 1)).min();
        match first {
            Some(level) => prop_assert_eq!((stopped.levels, stopped.to_the_end), (level, false)),
            None => prop_assert!(stopped.to_the_end),
        }
    }

    #[test]
    fn paths_come_to_their_goals_where_a_library_says_so(graph in graphs()) {
        let (found, _) = graph.searched(1 << 12);
        let distances = graph.distances();
        let arriving = graph.arriving();
        let (arrive, stuck): (Vec<usize>, Vec<usize>) =
            distances.keys().copied().partition(|node| arriving.contains_key(node));
        let cost = arrive.iter().map(|node| arriving[node]).max().unwrap_or(0);
        prop_assert_eq!(found.costs_max.get(&0), Some(&cost));
        let told = found.violations.iter().find(|told| told.claim == Claim::Arrives);
        let nearest = stuck.iter().map(|node| (distances[node], *node)).min();
        prop_assert_eq!(told.map(|told| (told.story.len(), *told.story.last().unwrap())), nearest);
    }

    #[test]
    fn bounds_and_faults_end_a_search(graph in graphs(), most in 1_usize..NODES, faulty in 0..NODES) {
        let reached = graph.distances();
        let limits = Limits { states_max: most, ..Limits::default() };
        let bounded = search(&graph, &limits, &mut ());
        if reached.len() > most {
            prop_assert!(matches!(bounded, Err(Unfinished::TooLarge(bound)) if bound == most));
        } else {
            prop_assert!(bounded.is_ok());
        }
        let mut broken = graph;
        broken.faulty[faulty] = true;
        let answer = search(&broken, &Limits::default(), &mut ());
        prop_assert_eq!(matches!(answer, Err(Unfinished::Fault(node)) if node == faulty), reached.contains_key(&faulty));
    }
}

/// A path has one successor, and an end counts before it, in whatever order they are given.
#[test]
fn an_end_counts_before_a_successor() {
    struct Ends;
    impl Model for Ends {
        type State = u8;
        type Step = u8;
        type Claim = ();
        type Path = bool;
        type Count = ();
        type Fault = std::convert::Infallible;

        fn beginnings(&self) -> Vec<(u8, u8)> {
            vec![(0, 0)]
        }

        fn key(&self, state: &u8) -> u128 {
            u128::from(*state)
        }

        fn look(&self, state: &u8, look: &mut Look<'_, Self>) -> Result<(), Self::Fault> {
            if *state > 0 {
                return Ok(());
            }
            let key = look.step(1, 1);
            look.ends(true, "here");
            look.continues(true, key, 1);
            look.continues(false, key, 1);
            look.arrives(false, 7);
            look.must_arrive(true);
            look.must_arrive(false);
            Ok(())
        }

        fn never_arrives(&self, path: bool, why: Stuck) -> ((), String) {
            assert!(path);
            ((), format!("{why:?}"))
        }
    }
    let found = search(&Ends, &Limits::default(), &mut ()).unwrap();
    assert_eq!(found.costs_max, BTreeMap::from([(false, 7), (true, 0)]));
    let seen: Vec<_> = found.violations.iter().map(|told| told.seen.as_str()).collect();
    assert_eq!(seen, ["Ends(\"here\")"]);
}
