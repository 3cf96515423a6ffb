//! The verb `port`.

use crate::args::{Port, PortAct};
use crate::show;
use miette::Result;
use packstaff::port::{Ask, check};
use packstaff::progress::Progress;
use packstaff::told::ForPeople;
use packstaff_port_check::cases::Options;
use packstaff_port_check::link::Way;
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
            return Err(miette::miette!(
                help =
                    "name a serial device with --device, or a program behind --: packstaff port check -- ./loader-host",
                "nothing says where the port is"
            ));
        }
        None => Way::Program(ask.program),
    };
    let product = ask.product.zip(ask.board);
    let report = check(
        Ask {
            way,
            patience: Duration::from_secs(ask.patience),
            options: Options {
                image: ask.image,
                cuts: ask.cuts,
                torn: ask.torn,
                stick: ask.stick,
            },
            product: product
                .map(|(folder, board)| packstaff::machine::open(&folder).map(|bench| (bench, board)))
                .transpose()
                .told()?,
        },
        &progress,
    );
    progress.done();
    show(&report?, ask.json)
}
