//! Draws how each deliberate mistake of an installer would cost a unit, into a folder: one page each, and one of what an
//! exploration without a mistake covers.
//!
//! `cargo run -p packstaff-rehearsal --example pictures -- FOLDER`

#[path = "../tests/support/mod.rs"]
mod support;

use packstaff_mutants::installer::Mutation;
use packstaff_rehearsal::areas::Areas;
use packstaff_rehearsal::explore::{Faults, replay};
use packstaff_rehearsal::picture::{CoverageOf, StoryPicture, coverage_page, phase_words, story_page};
use std::path::PathBuf;
use support::Flashes;
use support::case::case;
use support::mutant::Mutant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("name a folder for the pictures")?);
    std::fs::create_dir_all(&folder)?;
    for mutation in Mutation::ALL.iter().copied() {
        let image = if matches!(mutation, Mutation::SkipsVoid | Mutation::ErasesTooLittle) {
            7000
        } else {
            3000
        };
        let mut mutant = Mutant::new(mutation, Flashes::Pages, image);
        let violation = mutant.violation();
        let worlds = replay(&mutant.subject(), &mutant.plan(), &violation.story)?;
        let images = mutant.images();
        let areas = Areas::of(&mutant.case.blueprint);
        let story = violation.story.clone().with_areas(areas.clone());
        let page = story_page(&StoryPicture {
            heading: &format!("An installer with a mistake: {mutation:?}"),
            claim: violation.claim,
            wording: violation.claim.wording(),
            seen: &violation.seen,
            story: &story,
            worlds: &worlds,
            areas: &areas,
            images: &images,
            target: 2,
        });
        std::fs::write(folder.join(format!("{mutation:?}.html")), page)?;
        println!(
            "{mutation:?}: {} steps, {}",
            violation.story.len(),
            violation.claim.id()
        );
    }
    let found = case(Flashes::Pages, 3000).explore(Faults::all(), true);
    let coverage = CoverageOf {
        heading: "An installer without a mistake".to_owned(),
        worlds: found.worlds,
        powered: found.powered,
        cuts: found.cuts,
        phases: found
            .phases
            .iter()
            .map(|(phase, coverage)| (phase_words(*phase).to_owned(), *coverage))
            .collect(),
    };
    std::fs::write(folder.join("coverage.html"), coverage_page("A small unit", &[coverage]))?;
    Ok(())
}
