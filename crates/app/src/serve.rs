//! `sootwright serve`: the bench, on this machine alone.

use crate::cli::Serve;
use crate::failure::{Failure, Outcome};
use crate::report::figures;
use crate::words::{say, say_with, words};
use crate::{args, print};
use additive::message::Message;
use bench::{Bench, Fail, House};
use facts::Knowledge;
use infer::assessment::{Assessment, Text};
use infer::balance::Balance;
use maud::Markup;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use store::{Records, Sqlite};

/// What this program lends the bench: words and drawings of the report.
struct Lent;

impl House for Lent {
    fn text(&self, text: &Text) -> String {
        words().text(text, Knowledge::built_in())
    }
    fn message(&self, message: &Message) -> String {
        words().fluid(message)
    }
    fn pressure(&self, assessment: &Assessment) -> Markup {
        figures::pressure(assessment)
    }
    fn balance(&self, balance: &Balance) -> Markup {
        figures::waterfall(balance)
    }
}

/// A refusal of the bench, as one of the command line.
pub fn refused(e: &Fail) -> Failure {
    Failure::Refused(e.words(bench::words::Lang::En))
}

/// Runs the command.
pub fn run(order: &Serve) -> Result<Outcome, Failure> {
    open(&order.data, order.address, async |_| Ok(()))
}

/// Opens the bench over the records in a folder; `first` is done before anybody is served.
pub fn open(
    folder: &Path,
    address: SocketAddr,
    first: impl AsyncFnOnce(&Bench) -> Result<(), Failure>,
) -> Result<Outcome, Failure> {
    let machine = |e: std::io::Error| Failure::Refused(e.to_string());
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().map_err(machine)?;
    runtime.block_on(async {
        std::fs::create_dir_all(folder).map_err(|e| Failure::write(&folder.display().to_string(), &e))?;
        let store = Sqlite::open(folder).await.map_err(|e| Failure::Refused(e.to_string()))?;
        let records: Arc<dyn Records> = Arc::new(store.clone());
        let bench = Bench::new(records, Arc::new(Lent)).map_err(|e| refused(&e))?;
        first(&bench).await?;
        let ready = |at: SocketAddr| {
            let said = say_with(
                "serve-ready",
                &args! { "address" => format!("http://{at}/"), "path" => folder.display().to_string() },
            );
            // Where nobody listens to the words, the bench is served all the same.
            let _ = print(&format!("{said}\n{}\n", say("serve-stop")));
        };
        let stop = async {
            let _ = tokio::signal::ctrl_c().await;
        };
        bench::serve(bench, address, ready, stop).await.map_err(|e| refused(&e))?;
        store.close().await;
        Ok(Outcome::Answered)
    })
}
