//! A breadth-first search of everything that a model can come to, each state visited once.
//!
//! A [`Model`] says where it begins, what can follow on a state, and what must hold. [`search()`] visits every state that it can
//! come to, on all cores, and gives each claim that does not hold with the shortest way to it. The same model gives the same
//! answer at every run, whatever the number of cores. Two kinds of claims are looked at:
//!
//! * **safety**: what holds in every state and on every step. The model judges it as it looks at a state ([`Look::violates`]);
//! * **liveness**: from certain states, a distinguished path comes to its goal. On such a path nothing goes wrong any more, for one,
//!   so that each state on it has one successor. The model marks where the path leads ([`Look::continues`],
//!   [`Look::arrives`], [`Look::ends`]) and from where it must come to its goal ([`Look::must_arrive`]); the search follows it.
//!
//! States are told apart by 128-bit sums that the model makes of them, and are not kept: what is kept of a state is its sum, its
//! parent's, and the step between. If the sums are as good as random, any two of n states collide with a chance of about
//! n^2 / 2^129.
//!
//! # Example
//!
//! Two jugs of 3 and 5 litres; is there a way to have 4 litres in the larger one?
//!
//! ```
//! use packstaff_search::{Limits, Look, Model, Stuck, search};
//! use std::convert::Infallible;
//!
//! struct Jugs;
//!
//! impl Model for Jugs {
//!     type State = (u8, u8);
//!     type Step = &'static str;
//!     type Claim = &'static str;
//!     type Path = Infallible; // no liveness here
//!     type Count = ();
//!     type Fault = Infallible;
//!
//!     fn beginnings(&self) -> Vec<(Self::Step, Self::State)> {
//!         vec![("both are empty", (0, 0))]
//!     }
//!
//!     fn key(&self, (small, large): &Self::State) -> u128 {
//!         u128::from(*small) << 8 | u128::from(*large)
//!     }
//!
//!     fn look(&self, (small, large): &Self::State, look: &mut Look<'_, Self>) -> Result<(), Infallible> {
//!         if *large == 4 {
//!             look.violates("never 4 litres", format!("and {small} in the small jug"));
//!         }
//!         let over = (small + large).saturating_sub(5);
//!         let back = (small + large).min(3);
//!         look.step("fill the small jug", (3, *large));
//!         look.step("fill the large jug", (*small, 5));
//!         look.step("empty the small jug", (0, *large));
//!         look.step("empty the large jug", (*small, 0));
//!         look.step("pour the small jug into the large one", (over, small + large - over));
//!         look.step("pour the large jug into the small one", (back, small + large - back));
//!         Ok(())
//!     }
//!
//!     fn never_arrives(&self, path: Infallible, _: Stuck) -> (Self::Claim, String) {
//!         match path {}
//!     }
//! }
//!
//! let found = search(&Jugs, &Limits::default(), &mut ())?;
//! let violation = &found.violations[0];
//! assert_eq!(violation.claim, "never 4 litres");
//! assert_eq!(violation.seen, "and 3 in the small jug");
//! assert_eq!(violation.story.len(), 7);
//! assert_eq!(violation.story[1], "fill the large jug");
//! assert_eq!(found.tree.len(), 16);
//! # Ok::<(), packstaff_search::Unfinished<Infallible>>(())
//! ```

mod liveness;
mod model;
mod search;
mod sums;
mod tree;

pub use liveness::Stuck;
pub use model::{Look, Model};
pub use search::{Found, Limits, Progress, Unfinished, Until, Violation, Watch, search};
pub use tree::Tree;
