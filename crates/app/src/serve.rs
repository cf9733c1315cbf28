//! `sootwright serve`: the bench, on this machine alone.

use crate::cli::Serve;
use crate::failure::{Failure, Outcome};
use crate::report::{figures, life};
use crate::words::{in_language, say, say_with, words};
use crate::{args, print};
use additive::message::Message;
use bench::words::Lang;
use bench::{Bench, Fail, House};
use facts::Knowledge;
use facts::case::Case;
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
    fn text(&self, lang: Lang, text: &Text) -> String {
        in_language(lang.tag(), || words().text(text, Knowledge::built_in()))
    }
    fn message(&self, lang: Lang, message: &Message) -> String {
        in_language(lang.tag(), || words().fluid(message))
    }
    fn pressure(&self, lang: Lang, assessment: &Assessment) -> Markup {
        in_language(lang.tag(), || figures::pressure(assessment))
    }
    fn balance(&self, lang: Lang, balance: &Balance) -> Markup {
        in_language(lang.tag(), || figures::waterfall(balance))
    }
    fn life(&self, lang: Lang, assessment: &Assessment, cases: &[&Case]) -> Markup {
        in_language(lang.tag(), || life::figure(assessment, cases).unwrap_or_default())
    }
}

/// A refusal of the bench, as one of the command line.
pub fn refused(e: &Fail) -> Failure {
    Failure::Refused(e.words(bench::words::Lang::En))
}

/// Runs the command.
pub fn run(order: &Serve) -> Result<Outcome, Failure> {
    open(&order.data, order.address, false, async |_| Ok(()))
}

/// Opens the bench over the records in a folder; `first` is done before anybody is served. `invented`: records that
/// may be lost.
pub fn open(
    folder: &Path,
    address: SocketAddr,
    invented: bool,
    first: impl AsyncFnOnce(&Bench) -> Result<(), Failure>,
) -> Result<Outcome, Failure> {
    let machine = |e: std::io::Error| Failure::Refused(e.to_string());
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        // An answer takes a core and memory of its own: more at once than the machine has cores help nobody.
        .max_blocking_threads(4)
        .build()
        .map_err(machine)?;
    runtime.block_on(async {
        std::fs::create_dir_all(folder).map_err(|e| Failure::write(&folder.display().to_string(), &e))?;
        let store = if invented { Sqlite::open_invented(folder).await } else { Sqlite::open(folder).await };
        let store = store.map_err(|e| Failure::Refused(e.to_string()))?;
        let records: Arc<dyn Records> = Arc::new(store.clone());
        let bench = Bench::open(records, Arc::new(Lent)).await.map_err(|e| refused(&e))?;
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
