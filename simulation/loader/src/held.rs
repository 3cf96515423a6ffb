//! A loader held at a call: it has asked its unit for something, and goes on when it is answered.

use crate::calls::BOOT;
use crate::fault::{LoaderFault, Place, Way};
use crate::sandbox::Limits;
use packstaff_installer::Region;
use packstaff_unit::drive::{Answer, Wish};
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll, Waker};
use wasmtime::{InstancePre, Store, StoreLimits, StoreLimitsBuilder, Trap, WasmBacktrace};

/// Functions named in the way into a trap.
const WAY_MAX: usize = 4;

/// What passes between a loader and whoever answers it.
#[derive(Default)]
struct Letters {
    wish: Option<Wish>,
    answer: Option<Answer>,
    fault: Option<LoaderFault>,
}

/// The loader's side of a conversation.
#[derive(Clone, Default)]
pub(crate) struct Mail(Arc<Mutex<Letters>>);

impl Mail {
    fn open(&self) -> MutexGuard<'_, Letters> {
        // A thread that panicked with the letters in its hands has left them whole: each is put in or taken out at once.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Asks, and waits for the answer.
    pub(crate) async fn ask(&self, wish: Wish) -> Answer {
        self.open().wish = Some(wish);
        std::future::poll_fn(|_| match self.open().answer.take() {
            Some(answer) => Poll::Ready(answer),
            None => Poll::Pending,
        })
        .await
    }

    /// Notes why the loader is to be broken off.
    pub(crate) fn complain(&self, fault: LoaderFault) -> wasmtime::Error {
        let words = fault.to_string();
        self.open().fault = Some(fault);
        wasmtime::Error::msg(words)
    }
}

/// What the calls need to know.
pub(crate) struct Host {
    pub(crate) mail: Mail,
    pub(crate) part: Region,
    pub(crate) instructions: u64,
    /// Whether the loader, or a call on its behalf, has asked for a stick.
    pub(crate) asked_for_stick: bool,
    limits: StoreLimits,
}

type Run = Pin<Box<dyn Future<Output = Result<(), LoaderFault>> + Send>>;

/// A loader with power on.
pub(crate) struct Held {
    run: Run,
    mail: Mail,
}

impl Held {
    pub(crate) fn new(ready: InstancePre<Host>, limits: Limits, part: Region) -> Self {
        let mail = Mail::default();
        let host = Host {
            mail: mail.clone(),
            part,
            instructions: limits.instructions,
            asked_for_stick: false,
            limits: StoreLimitsBuilder::new().memory_size(limits.memory).build(),
        };
        Self {
            run: Box::pin(run(ready, host)),
            mail,
        }
    }

    /// Lets the loader run up to its next wish.
    pub(crate) fn go(&mut self) -> Result<Wish, LoaderFault> {
        let ended = self.run.as_mut().poll(&mut Context::from_waker(Waker::noop()));
        let mut letters = self.mail.open();
        if let Some(fault) = letters.fault.take() {
            return Err(fault);
        }
        match (ended, letters.wish.take()) {
            (Poll::Ready(Err(fault)), _) => Err(fault),
            (Poll::Pending, Some(wish)) => Ok(wish),
            _ => Err(LoaderFault::Returned),
        }
    }

    /// Answers its wish, and lets it run up to the next.
    pub(crate) fn answer(&mut self, answer: &Answer) -> Result<Wish, LoaderFault> {
        self.mail.open().answer = Some(answer.clone());
        self.go()
    }
}

async fn run(ready: InstancePre<Host>, host: Host) -> Result<(), LoaderFault> {
    let instructions = host.instructions;
    let mut store = Store::new(ready.module().engine(), host);
    store.limiter(|host| &mut host.limits);
    let fault = |error: wasmtime::Error| fault(&error, instructions);
    store.set_fuel(instructions).map_err(fault)?;
    let instance = ready.instantiate_async(&mut store).await.map_err(|error| {
        if error.downcast_ref::<Trap>().is_some() && error.downcast_ref::<WasmBacktrace>().is_some() {
            return fault(error);
        }
        LoaderFault::NotLoaded {
            why: format!("{error:#}"),
        }
    })?;
    let boot = instance.get_typed_func::<(), ()>(&mut store, BOOT).map_err(fault)?;
    boot.call_async(&mut store, ()).await.map_err(fault)
}

/// What a trap says.
fn fault(error: &wasmtime::Error, instructions: u64) -> LoaderFault {
    let frames = error
        .downcast_ref::<WasmBacktrace>()
        .map_or(&[][..], WasmBacktrace::frames);
    let places = frames.iter().take(WAY_MAX).map(|frame| Place {
        function: frame.func_name().map(ToOwned::to_owned),
        index: frame.func_index(),
        offset: frame.module_offset(),
    });
    let way = Way(places.collect());
    let what = match error.downcast_ref::<Trap>() {
        Some(Trap::OutOfFuel) => return LoaderFault::Endless { instructions, way },
        Some(Trap::StackOverflow) => "functions call one another too deeply".to_owned(),
        Some(Trap::MemoryOutOfBounds) => "memory outside its own is read or written".to_owned(),
        Some(Trap::IntegerDivisionByZero) => "a number is divided by zero".to_owned(),
        Some(Trap::UnreachableCodeReached) => {
            "it comes to a place that its compiler took for unreachable: a trap of its own, or behaviour that C leaves undefined"
                .to_owned()
        }
        Some(Trap::IndirectCallToNull | Trap::TableOutOfBounds | Trap::BadSignature) => {
            "a function pointer does not point to such a function".to_owned()
        }
        Some(other) => other.to_string(),
        None => format!("{error:#}"),
    };
    LoaderFault::Trap { what, way }
}
