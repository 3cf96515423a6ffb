//! The driver: carries out what the machine asks for. This, and what it calls, is what a maker writes for a board.

use crate::clock;
use crate::factory::Identity;
use crate::figures::Figures;
use crate::flash::{FACTORY, FLOORS, Flash, GEOMETRY, Refused, SLOT};
use crate::owner::{Script, show_reason};
use crate::semihost::print;
use crate::start;
use crate::stick::Stick;
use core::mem::MaybeUninit;
use packstaff_envelope::Sha256;
use packstaff_installer::{Config, Installer, Layout, Phase, Region, Reply, Request};

/// More requests for the owner to change something than a script can follow.
const WAITS_MAX: u32 = 1;

/// The one machine of this unit, so that it does not lie on the stack.
static mut MACHINE: MaybeUninit<Installer> = MaybeUninit::uninit();

/// Runs the unit from power-up to the start of its image.
///
/// # Errors
/// The factory wrote nothing usable, or the unit waits for its owner, who is a script and has gone.
pub fn drive(script: &Script, mut flash: Flash) -> Result<(), &'static str> {
    let identity = flash
        .read(FACTORY)
        .and_then(Identity::read)
        .ok_or("the factory wrote nothing usable")?;
    let config = Config {
        vendor: identity.vendor,
        class: identity.class,
        siblings: identity.siblings(),
        anchors: core::slice::from_ref(&identity.anchor),
        key: &identity.key,
        extension: identity.extension,
        flash: GEOMETRY,
        slot: SLOT,
        layout: Layout::Single,
        beside: None,
        floors: FLOORS,
    };
    if config.check().is_err() {
        return Err("the memory map does not suit the installer");
    }
    // SAFETY: this function is called once, by the reset code's `run`, and nobody else names the machine.
    let machine = unsafe { (*(&raw mut MACHINE)).write(Installer::default()) };
    let mut stick = None::<Stick>;
    let mut figures = Figures::new();
    let mut phase = Phase::Inspect;
    let mut waits = 0;
    let mut reply = Reply::PowerUp;
    loop {
        if script.stack {
            start::paint_stack();
        }
        let depth = start::stack_depth();
        let begun = clock::now();
        let request = machine.step(&config, reply);
        figures.step(phase, begun, script.stack.then_some(depth));
        // A posted program is over before anything else is asked of flash, and before anything is said or started.
        if !matches!(request, Request::ReadStick { .. }) {
            flash.wait();
        }
        reply = match request {
            Request::FindStick => {
                stick = Stick::find();
                stick
                    .as_ref()
                    .map_or(Reply::NoStick, |stick| Reply::Stick { blocks: stick.blocks() })
            }
            Request::ReadStick { block } => {
                let read = stick.as_mut().and_then(|stick| stick.read(block));
                read.map_or(Reply::Failed, Reply::Block)
            }
            Request::ReadFlash { address, len } => flash
                .read(Region {
                    base: address,
                    size: len,
                })
                .map_or(Reply::Failed, Reply::Flash),
            Request::DigestFlash { address, len } => {
                let begun = clock::now();
                let digest = flash
                    .read(Region {
                        base: address,
                        size: len,
                    })
                    .map(|bytes| {
                        let mut digest = Sha256::new();
                        digest.update(bytes);
                        digest.finish()
                    });
                figures.digest(phase, begun);
                digest.map_or(Reply::Failed, Reply::Digest)
            }
            Request::CheckBlank { address, len } => match flash.read(Region {
                base: address,
                size: len,
            }) {
                Some(bytes) => Reply::Blank(bytes.iter().all(|byte| *byte == GEOMETRY.erased)),
                None => Reply::Failed,
            },
            Request::Erase { address } => {
                flash.unlock(true);
                let done = flash.erase(address);
                flash.wait();
                flash.unlock(false);
                carried_out(done)
            }
            Request::Program { address, data } => {
                flash.unlock(true);
                let done = flash.program(address, data);
                // Only the image's own bytes may be posted: the digest over flash follows them. What the descriptor and the
                // register say is relied on at once.
                if !script.overlap || phase != Phase::Program {
                    flash.wait();
                }
                flash.unlock(false);
                carried_out(done)
            }
            Request::Ask { listing } => Reply::Chosen(script.choose(listing)),
            Request::Tell { reason, .. } => {
                show_reason("not used", reason);
                Reply::Done
            }
            Request::Wait { reason, .. } => {
                show_reason("waiting", reason);
                waits += 1;
                if waits >= WAITS_MAX {
                    tell(script, &figures, &flash, stick.as_ref());
                    return Err("nothing can be started");
                }
                Reply::Done
            }
            Request::Start { address } => {
                tell(script, &figures, &flash, stick.as_ref());
                print("starting\n");
                clock::stop();
                // SAFETY: the machine has just found a whole, authentic image there.
                unsafe { start::image(address) }
            }
        };
        phase = machine.progress(&config).phase;
    }
}

fn carried_out(done: Result<(), Refused>) -> Reply<'static> {
    match done {
        Ok(()) => Reply::Done,
        Err(_) => Reply::Failed,
    }
}

fn tell(script: &Script, figures: &Figures, flash: &Flash, stick: Option<&Stick>) {
    if script.measure {
        figures.tell(flash.waited, flash.worked, stick.map_or(0, |stick| stick.reads));
    }
}
