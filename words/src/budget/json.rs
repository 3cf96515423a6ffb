//! A budget as JSON: its report, and every figure in it as a number.

use super::names::{finishing, update};
use crate::report::Report;
use packstaff_bench::budget::{BoardFigures, Cuts, Figures, FlashWear, MemoryWear, Off, Update, UpdateOf};
use packstaff_budget::key_search::Search;
use packstaff_budget::update_time::UpdateTime;
use serde::Serialize;

/// A report, and every figure in it as a number.
#[derive(Serialize)]
pub struct BudgetJson<'a> {
    #[serde(flatten)]
    report: &'a Report,
    budget: FiguresJson<'a>,
}

#[derive(Serialize)]
struct FiguresJson<'a> {
    tried: &'a [(String, String)],
    boards: Vec<BoardJson<'a>>,
    key_search: &'a Search,
}

#[derive(Serialize)]
struct BoardJson<'a> {
    board: &'a str,
    clock_hz: f64,
    updates: Vec<UpdateJson<'a>>,
    cuts: &'a Option<Cuts>,
    flash: &'a Option<FlashWear>,
    memory: Option<Result<&'a MemoryWear, String>>,
    off: Option<Result<OffJson<'a>, String>>,
}

#[derive(Serialize)]
struct UpdateJson<'a> {
    of: String,
    released: bool,
    image_bytes: u32,
    time: &'a UpdateTime,
}

#[derive(Serialize)]
struct OffJson<'a> {
    finishing: String,
    #[serde(flatten)]
    off: &'a Off,
}

/// A budget's report and figures, to be written as JSON.
pub fn json<'a>(report: &'a Report, figures: &'a Figures) -> BudgetJson<'a> {
    BudgetJson {
        report,
        budget: FiguresJson {
            tried: &figures.tried,
            boards: figures.boards.iter().map(board).collect(),
            key_search: &figures.key_search,
        },
    }
}

fn board(figures: &BoardFigures) -> BoardJson<'_> {
    let memory = figures.memory.as_ref();
    let off = figures.off.as_ref().map(|off| match off {
        Ok(off) => Ok(OffJson {
            finishing: finishing(&off.finishing),
            off,
        }),
        Err(why) => Err(why.to_string()),
    });
    BoardJson {
        board: &figures.board,
        clock_hz: figures.clock_hz,
        updates: figures.updates.iter().map(timed).collect(),
        cuts: &figures.cuts,
        flash: &figures.flash,
        memory: memory.map(|memory| memory.as_ref().map_err(ToString::to_string)),
        off,
    }
}

fn timed(timed: &Update) -> UpdateJson<'_> {
    UpdateJson {
        of: update(&timed.of),
        released: matches!(timed.of, UpdateOf::Newest(_)),
        image_bytes: timed.image_bytes,
        time: &timed.time,
    }
}
