//! The verb `port`.

use crate::args::{Misuse, Port, PortAct};
use crate::progress::Progress;
use crate::show;
use crate::told::ForPeople;
use miette::Result;
use packstaff_bench::ports::{Ask, check};
use packstaff_port_check::cases::Options;
use packstaff_port_check::link::Way;
use packstaff_words::ports::report;
use std::time::Duration;

pub(crate) fn run(port: Port) -> Result<u8> {
    let PortAct::Check(ask) = port.act;
    let progress = Progress::new(ask.json);
    let way = match ask.device {
        Some(path) => Way::Device {
            path,
            baud: ask.baud,
            power: (!ask.program.is_empty()).then_some(ask.program),
        },
        None if ask.program.is_empty() => {
            return Err(Misuse::NoPort.into());
        }
        None => Way::Program(ask.program),
    };
    let product = ask.product.zip(ask.board);
    let product = product.map(|(folder, board)| crate::machine::open(&folder).map(|bench| (bench, board)));
    let product = product.transpose().told()?;
    let ask_for = Ask {
        way,
        patience: Duration::from_secs(ask.patience),
        options: Options {
            image: ask.image,
            cuts: ask.cuts,
            torn: ask.torn,
            stick: ask.stick,
        },
        product: product.as_ref().map(|(bench, board)| (bench, board.as_str())),
    };
    let checked = check(ask_for, &progress);
    progress.done();
    show(&report(&checked.told()?), ask.json)
}
