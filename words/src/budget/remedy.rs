//! What to do about errors of the budget.

use crate::remedy::Remedy;
use packstaff_bench::budget::BudgetError;
use packstaff_document::DocumentError;

impl Remedy for BudgetError {
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::Nothing => "docs/src/budget.md says what stands there; demo/kc4/product.toml has an example",
            Self::Try(_) => "write it as KEY=VALUE, with a key of [budget] or below it",
            Self::Open(error) => return error.remedy(),
            _ => return None,
        };
        Some(text.to_owned())
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Open(error) => error.document(),
            _ => None,
        }
    }
}
