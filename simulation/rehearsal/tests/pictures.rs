//! Stories played again, and drawn: the worlds along the way are those that the story tells of, and the page shows them.

mod support;

use packstaff_installer::{Descriptor, Layout, Region};
use packstaff_mutants::installer::Mutation;
use packstaff_rehearsal::areas::Areas;
use packstaff_rehearsal::claims::{Claim, ReleasedImage};
use packstaff_rehearsal::explore::{ComesTo, Faults, Loader, OurInstaller, Step, Story, Strayed, Violation, replay};
use packstaff_rehearsal::picture::{CoverageOf, KnownImage, StoryPicture, coverage_page, phase_words, story_page};
use packstaff_unit::drive::digest;
use packstaff_unit::flash::Flash;
use scraper::{Html, Selector};
use std::collections::BTreeSet;
use support::Flashes;
use support::case::case;
use support::mutant::{Mutant, Mutated};
use support::unit_with;

/// What the flash holds as an image, by the descriptor that stands in it.
fn held(subject: &OurInstaller<'_, Mutated>, flash: &Flash, descriptor: Descriptor) -> Option<[u8; 32]> {
    digest(flash, subject.blueprint.slot.base, descriptor.image_size).ok()
}

fn played(mutant: &mut Mutant) -> (Violation, Vec<Flash>) {
    let violation = mutant.violation();
    let worlds = replay(&mutant.subject(), &mutant.plan(), &violation.story)
        .unwrap_or_else(|error| panic!("{:?}: {error}\n{}", mutant.mutation, violation.story));
    assert_eq!(worlds.len(), violation.story.len());
    (violation, worlds)
}

/// The last world is judged here by other means than the exploration's.
#[test]
fn a_story_ends_in_the_world_that_breaks_the_claim() {
    let mutations = [
        (Mutation::DescriptorFirst, Claim::Truthful),
        (Mutation::SkipsFlashDigest, Claim::Truthful),
        (Mutation::NeverDigests, Claim::Authentic),
        (Mutation::FloorEarly, Claim::FloorEarned),
        (Mutation::FloorIgnored, Claim::FloorRises),
        (Mutation::TrustsRemnants, Claim::Sane),
    ];
    for (mutation, claim) in mutations {
        let mut mutant = Mutant::new(mutation, Flashes::Pages, 700);
        let (violation, worlds) = played(&mut mutant);
        assert_eq!(violation.claim, claim, "{mutation:?}");
        let subject = mutant.subject();
        let last = worlds.last().unwrap();
        let standing = subject.standing(last).first().map(|standing| standing.descriptor);
        match claim {
            Claim::Truthful => {
                let descriptor = standing.unwrap();
                assert_ne!(
                    held(&subject, last, descriptor),
                    Some(descriptor.image_digest),
                    "{mutation:?}"
                );
            }
            Claim::Authentic => {
                let Some(Step::Runs {
                    comes_to: ComesTo::Start(_),
                    ..
                }) = violation.story.steps.last()
                else {
                    panic!("{mutation:?} does not end with a start");
                };
                let known = |release: &ReleasedImage| {
                    digest(last, subject.blueprint.slot.base, release.image_size) == Ok(release.image_digest)
                };
                assert!(!mutant.case.releases.iter().any(known), "{mutation:?}");
            }
            Claim::FloorRises => {
                // 2.1 of issue 2 ran before; what stands now, or is about to, is of issue 1.
                let ran = worlds.iter().any(|flash| {
                    let mut standing = subject.standing(flash).into_iter();
                    standing.any(|standing| standing.descriptor.sequence == 2)
                });
                assert!(ran, "{mutation:?}");
            }
            Claim::FloorEarned => assert!(
                standing.is_none_or(|descriptor| descriptor.sequence < 2),
                "{mutation:?}"
            ),
            _ => {}
        }
    }
}

/// Every mistake's story can be played again, up to its last step.
#[test]
fn every_story_can_be_played_again() {
    for mutation in Mutation::ALL.iter().copied() {
        // These two take an image that fills the slot, and their stories are no different in kind.
        if !matches!(mutation, Mutation::SkipsVoid | Mutation::ErasesTooLittle) {
            played(&mut Mutant::new(mutation, Flashes::Pages, 700));
        }
    }
}

/// The worlds along the way are those that the steps tell of: only what a step changes is changed by it.
#[test]
fn flash_changes_only_where_a_story_says_so() {
    let mut mutant = Mutant::new(Mutation::SkipsFlashDigest, Flashes::Mixed, 700);
    let (violation, worlds) = played(&mut mutant);
    let steps = &violation.story.steps;
    for (index, pair) in worlds.windows(2).enumerate() {
        let may_change = match &steps[index + 1] {
            Step::Begin(_) => false,
            Step::Runs { stick, .. } => stick.is_none(),
            Step::Cut(..) => true,
        };
        assert!(
            may_change || pair[0] == pair[1],
            "step {}: {}",
            index + 2,
            violation.story
        );
    }
    assert!(worlds.first() != worlds.last());
}

#[test]
fn somebody_elses_story_is_not_played() {
    let mut mutant = Mutant::new(Mutation::NeverDigests, Flashes::Pages, 700);
    let story = mutant.violation().story;
    let case = case(Flashes::Pages, 700);
    let plan = case.plan(Faults::all(), true);
    let right = OurInstaller::of(&case.blueprint);
    // The right installer does the same up to the digest that the other leaves out: it never comes to the descriptor.
    let strayed = replay(&right, &plan, &story).unwrap_err();
    assert_eq!(strayed, Strayed::Elsewhere { step: story.len() - 1 });
    let nowhere = Story::of(vec![Step::Begin("elsewhere".to_owned())], Vec::new());
    let lost = Strayed::NoSuchBeginning("elsewhere".to_owned());
    assert_eq!(replay(&right, &plan, &nowhere).unwrap_err(), lost);
    assert_eq!(
        replay(&right, &plan, &Story::of(Vec::new(), Vec::new())).unwrap_err(),
        Strayed::Elsewhere { step: 1 }
    );
}

fn drawn(mutant: &Mutant, violation: &Violation, worlds: &[Flash]) -> String {
    story_page(&StoryPicture {
        heading: "Kiln <K>, board C",
        claim: violation.claim,
        wording: violation.claim.wording(),
        seen: &violation.seen,
        story: &violation.story,
        worlds,
        areas: &Areas::of(&mutant.case.blueprint),
        images: &mutant.images(),
        target: 2,
    })
}

fn parsed(page: &str) -> Html {
    let html = Html::parse_document(page);
    assert!(html.errors.is_empty(), "{:?}", html.errors);
    html
}

fn texts(html: &Html, selector: &str) -> Vec<String> {
    let selector = Selector::parse(selector).unwrap();
    html.select(&selector).map(|element| element.text().collect()).collect()
}

#[test]
fn a_story_is_drawn_step_by_step() {
    let mut mutant = Mutant::new(Mutation::NeverDigests, Flashes::Pages, 5000);
    let (violation, worlds) = played(&mut mutant);
    let page = drawn(&mutant, &violation, &worlds);
    let html = parsed(&page);
    let account = violation.story.account();
    assert!(account.len() < violation.story.len(), "a long stretch is told in one");
    assert_eq!(texts(&html, "ol.story li.step").len(), account.len());
    assert_eq!(texts(&html, "ol.story li.step svg").len(), account.len());
    let told: Vec<_> = account.iter().map(|passage| passage.text.clone()).collect();
    assert_eq!(texts(&html, "ol.story li.step p"), told);
    assert_eq!(texts(&html, ".of"), ["Kiln <K>, board C"]);
    let seen = texts(&html, ".broken p").join(" ");
    assert!(seen.contains(Claim::Authentic.statement()), "{seen}");
    let legend = texts(&html, ".legend li").join("; ");
    for entry in [
        "erased",
        "image of 1.8",
        "neither erased nor part of an image",
        "whole descriptor",
    ] {
        assert!(legend.contains(entry), "{legend}");
    }

    let painted: BTreeSet<_> = page
        .split("url(#")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .collect();
    for id in painted {
        assert_eq!(page.matches(&format!("id=\"{id}\"")).count(), 1, "{id}");
    }
    for foreign in ["http:", "https:", "<script", "<link", "src="] {
        assert!(!page.contains(foreign), "{foreign}");
    }
}

/// Doubtful cells are marked in the worlds after the cut that left them.
#[test]
fn what_is_in_doubt_is_marked() {
    let mut mutant = Mutant::new(Mutation::FloorTrustsReading, Flashes::Pages, 700);
    let (violation, worlds) = played(&mut mutant);
    let html = parsed(&drawn(&mutant, &violation, &worlds));
    let marked = texts(&html, "rect.doubt title");
    let words = "reads one way now, and otherwise later".to_owned();
    assert!(marked.contains(&words), "{marked:?}\n{}", violation.story);
    assert!(texts(&html, ".legend li").contains(&format!("in doubt: {words}")));
    let doubtful = worlds.iter().filter(|flash| !flash.doubts().is_empty()).count();
    assert!(doubtful > 0 && doubtful < worlds.len());
}

/// Units with two places have both on the map; two slots that take turns have no descriptor of their own.
#[test]
fn both_places_are_on_the_map() {
    let second = Region {
        base: 0x0800_1800,
        size: 4096,
    };
    let layouts = [
        (Layout::Staged { stage: second }, ["slot", "stage"], true),
        (Layout::Paired { second }, ["first slot", "second slot"], false),
    ];
    for (slots, names, described) in layouts {
        let mut case = case(Flashes::Pages, 1500);
        case.blueprint.slot.size = 3072;
        case.blueprint.slots = slots;
        let old = unit_with(&case.blueprint, &case.updates[0]).flash;
        let story = Story::of(vec![Step::Begin("with 1.8".to_owned())], Vec::new());
        let image = KnownImage {
            name: "1.8".to_owned(),
            bytes: case.updates[0].image.clone(),
        };
        let page = story_page(&StoryPicture {
            heading: "two places",
            claim: Claim::StandsAlone,
            wording: Claim::StandsAlone.wording(),
            seen: "it waits",
            story: &story,
            worlds: &[old],
            areas: &Areas::of(&case.blueprint),
            images: &[image],
            target: 0,
        });
        let html = parsed(&page);
        let heads = texts(&html, "svg.names text");
        for name in names {
            assert!(
                heads.iter().any(|head| head.starts_with(&format!("{name}, 0x"))),
                "{heads:?}"
            );
        }
        assert_eq!(heads.contains(&"descriptor".to_owned()), described, "{slots:?}");
        // The image is in one of the places, and its version is told by the descriptor or by the register.
        let words = texts(&html, "li.step svg text").join("; ");
        assert!(words.contains(if described { "1.8" } else { ": 1.8" }), "{words}");
    }
}

#[test]
fn coverage_is_drawn_with_its_numbers() {
    let case = case(Flashes::Pages, 1500);
    let found = case.explore(Faults::all(), true);
    let sum = |pick: fn(&packstaff_rehearsal::explore::Coverage) -> u64| found.phases.values().map(pick).sum::<u64>();
    assert_eq!(sum(|coverage| coverage.powered as u64), found.powered as u64);
    assert_eq!(sum(|coverage| coverage.cuts), found.cuts);
    let first_worlds = case.plan(Faults::all(), true).from.len() as u64;
    assert!(sum(|coverage| coverage.worlds as u64) + first_worlds <= found.worlds as u64);
    let page = coverage_page(
        "Kiln, to 2.1",
        &[CoverageOf {
            heading: "Board C".to_owned(),
            worlds: found.worlds,
            powered: found.powered,
            cuts: found.cuts,
            phases: found
                .phases
                .iter()
                .map(|(phase, coverage)| (phase_words(*phase).to_owned(), *coverage))
                .collect(),
        }],
    );
    let html = parsed(&page);
    let cells = texts(&html, "tbody tr:last-child td");
    let all = [found.powered as u64, found.cuts, found.worlds as u64].map(packstaff_rehearsal::picture::grouped);
    assert_eq!(cells, all);
    assert_eq!(texts(&html, "figure").len(), 2);
    assert_eq!(texts(&html, "figure rect").len(), 2 * found.phases.len());
}
