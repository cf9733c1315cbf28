//! What to do next: the step with the least expected cost on the way to a fixed car.
//!
//! Ask, test, repair, prove or refer. Costs are minutes at the workshop's rate, money of repairs by class,
//! expected damage of acting wrongly, and the hours the customer's car stands. Set-ups are paid once (those
//! that end with a drive, once per drive), repairs may fail, tests may lie, and the final test is dear and
//! may miss what is left. Safety rules are constraints: what they forbid is not proposed.
//!
//! The method: two steps of look-ahead over tests and repairs. At the leaves stands the best plan without
//! further tests: repairs in an order that knows about shared set-ups (the bottom-up rule of Ottosen and
//! Jensen, *The Cost of Troubleshooting Cost Clusters with Inside Information*, 2010, as understood from its
//! abstract), cut into blocks between final tests and ended by referring where that is cheaper. Planning by
//! expected cost of repair follows Heckerman, Breese and Rommelse, *Decision-Theoretic Troubleshooting*,
//! Comm. ACM 38(3), 1995, as understood.
//!
//! Everything here is pure and exact for the model that it is given; how good the numbers of the model are
//! is another question, and `docs/validation/next-step.md` shows what wrong numbers cost.

mod case;
mod desk;
mod explain;
mod look;
mod order;
mod state;

pub use case::question;
pub use desk::{Desk, Lack, Refer, RepairCost, RuleCost, SetUpCost, TestCost};
pub use explain::{Advice, Alternative, AnswerEffect, Gate, MindChanger, Move, Player, Question, advise};
pub use look::{Depth, Value};
pub use state::{Action, State};
