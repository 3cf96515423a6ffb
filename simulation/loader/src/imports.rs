//! The calls of a unit, as a loader in the sandbox finds them.

use crate::calls::{self, DONE, FAILED, MEMORY, MODULE};
use crate::fault::LoaderFault;
use crate::held::Host;
use packstaff_installer::Region;
use packstaff_unit::drive::{Answer, Wish};
use packstaff_unit::flash::Change;
use wasmtime::{Caller, Extern, Linker, Result};

/// Adds every call to `linker`.
pub(crate) fn provide(linker: &mut Linker<Host>) -> Result<()> {
    linker.func_wrap_async(MODULE, "flash_read", |caller, numbers| {
        Box::new(flash_read(caller, numbers))
    })?;
    linker.func_wrap_async(MODULE, "flash_blank", |caller, numbers| {
        Box::new(flash_blank(caller, numbers))
    })?;
    linker.func_wrap_async(MODULE, "flash_erase", |caller, numbers| {
        Box::new(flash_erase(caller, numbers))
    })?;
    linker.func_wrap_async(MODULE, "flash_program", |caller, numbers| {
        Box::new(flash_program(caller, numbers))
    })?;
    linker.func_wrap_async(MODULE, "stick_blocks", |caller, ()| Box::new(stick_blocks(caller)))?;
    linker.func_wrap_async(MODULE, "stick_read", |caller, numbers| {
        Box::new(stick_read(caller, numbers))
    })?;
    linker.func_wrap_async(MODULE, "start", |caller, numbers| Box::new(start(caller, numbers)))?;
    linker.func_wrap_async(MODULE, "wait", |caller, numbers| Box::new(wait(caller, numbers)))?;
    Ok(())
}

/// Asks for the loader, and gives it its instructions for the time until its next call.
async fn ask(caller: &mut Caller<'_, Host>, wish: Wish) -> Result<Answer> {
    let host = caller.data_mut();
    host.asked_for_stick |= wish == Wish::FindStick;
    let (mail, instructions) = (host.mail.clone(), host.instructions);
    let answer = mail.ask(wish).await;
    caller.set_fuel(instructions)?;
    Ok(answer)
}

/// A buffer in the loader's memory.
fn buffer<'a>(caller: &'a mut Caller<'_, Host>, call: &'static str, pointer: u32, len: u32) -> Result<&'a mut [u8]> {
    let mail = caller.data().mail.clone();
    let memory = match caller.get_export(MEMORY) {
        Some(Extern::Memory(memory)) => memory.data_mut(caller),
        _ => return Err(mail.complain(LoaderFault::NoMemory)),
    };
    let held = memory.len();
    let (from, bytes) = (pointer as usize, len as usize);
    let found = memory.get_mut(from..).and_then(|rest| rest.get_mut(..bytes));
    found.ok_or_else(|| {
        mail.complain(LoaderFault::Buffer {
            call,
            pointer,
            len,
            memory: held,
        })
    })
}

/// A range of flash that a loader names.
fn range(caller: &Caller<'_, Host>, call: &'static str, address: u32, len: u32) -> Result<Region> {
    let region = Region {
        base: address,
        size: len,
    };
    let part = caller.data().part;
    if address >= part.base && region.end() <= part.end() {
        return Ok(region);
    }
    Err(caller.data().mail.complain(LoaderFault::OutsidePart {
        call,
        address,
        len,
        first: part.base,
        last: u32::try_from(part.end().saturating_sub(1)).unwrap_or(u32::MAX),
    }))
}

async fn flash_read(mut caller: Caller<'_, Host>, (address, to, len): (u32, u32, u32)) -> Result<i32> {
    const NAME: &str = "flash_read";
    buffer(&mut caller, NAME, to, len)?;
    let region = range(&caller, NAME, address, len)?;
    if len == 0 {
        return Ok(DONE);
    }
    match ask(&mut caller, Wish::ReadFlash(region)).await? {
        Answer::Flash(bytes) => {
            let into = buffer(&mut caller, NAME, to, len)?;
            into.iter_mut().zip(bytes).for_each(|(into, byte)| *into = byte);
            Ok(DONE)
        }
        _ => Ok(FAILED),
    }
}

async fn flash_blank(mut caller: Caller<'_, Host>, (address, len): (u32, u32)) -> Result<i32> {
    let region = range(&caller, "flash_blank", address, len)?;
    let answer = ask(&mut caller, Wish::CheckBlank(region)).await?;
    Ok(i32::from(answer == Answer::Blank(true)))
}

async fn change(caller: &mut Caller<'_, Host>, change: Change) -> Result<i32> {
    match ask(caller, Wish::Change(change)).await? {
        Answer::Done => Ok(DONE),
        _ => Ok(FAILED),
    }
}

async fn flash_erase(mut caller: Caller<'_, Host>, (address,): (u32,)) -> Result<i32> {
    change(&mut caller, Change::Erase { address }).await
}

async fn flash_program(mut caller: Caller<'_, Host>, (address, from, len): (u32, u32, u32)) -> Result<i32> {
    let data = buffer(&mut caller, "flash_program", from, len)?.to_vec();
    change(&mut caller, Change::Program { address, data }).await
}

async fn stick_blocks(mut caller: Caller<'_, Host>) -> Result<u32> {
    match ask(&mut caller, Wish::FindStick).await? {
        Answer::Stick(blocks) => Ok(u32::try_from(blocks).unwrap_or(u32::MAX)),
        _ => Ok(0),
    }
}

async fn stick_read(mut caller: Caller<'_, Host>, (block, to): (u32, u32)) -> Result<i32> {
    const NAME: &str = "stick_read";
    const LEN: u32 = packstaff_fat::BLOCK as u32;
    buffer(&mut caller, NAME, to, LEN)?;
    // Which stick is there is settled when the unit first asks for one; a loader may read without asking.
    if !caller.data().asked_for_stick {
        ask(&mut caller, Wish::FindStick).await?;
    }
    match ask(&mut caller, Wish::ReadStick(u64::from(block))).await? {
        Answer::Block(bytes) => {
            buffer(&mut caller, NAME, to, LEN)?.copy_from_slice(&*bytes);
            Ok(DONE)
        }
        _ => Ok(FAILED),
    }
}

async fn start(mut caller: Caller<'_, Host>, (address,): (u32,)) -> Result<()> {
    ask(&mut caller, Wish::Start(address)).await?;
    Ok(())
}

async fn wait(mut caller: Caller<'_, Host>, (number,): (u32,)) -> Result<()> {
    let Some(reason) = calls::reason(number) else {
        return Err(caller.data().mail.complain(LoaderFault::NoReason { found: number }));
    };
    ask(&mut caller, Wish::Wait(reason)).await?;
    Ok(())
}
