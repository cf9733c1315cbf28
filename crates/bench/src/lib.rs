//! The bench: the workshop's pages, and the same for other programs.
//!
//! Pages are drawn here from the records (`store`), the rules (`shop`) and the one posterior of a car (`infer`).
//! They work without script; a few small modules of our own make some of them livelier. What else the house
//! lends (words of the estimate, drawings) comes in through [`state::House`].

pub mod api;
pub mod assets;
pub mod fail;
pub mod form;
pub mod kept;
pub mod marks;
pub mod overlay;
pub mod page;
pub mod pages;
pub mod photo;
pub mod state;
pub mod web;
pub mod who;
pub mod windows;
pub mod words;

pub use fail::Fail;
pub use state::{Bench, House};
pub use web::router;

use std::net::{IpAddr, SocketAddr};

/// Opens the bench on an address of this machine alone; `ready` is told where. Runs until `stop` is over.
///
/// # Errors
/// An address that others could reach is refused: without accounts, whoever reaches the bench may sign as anybody.
/// Also when the address cannot be listened on.
pub async fn serve(
    bench: Bench,
    address: SocketAddr,
    ready: impl FnOnce(SocketAddr),
    stop: impl Future<Output = ()> + Send + 'static,
) -> Result<(), Fail> {
    if !is_here(address.ip()) {
        return Err(Fail::Request(
            words::Lang::En.tw("serve-only-here", &args! { "address" => address.to_string() }),
        ));
    }
    let machine = |e: std::io::Error| Fail::Machine(format!("{address}: {e}"));
    let listener = tokio::net::TcpListener::bind(address).await.map_err(machine)?;
    ready(listener.local_addr().map_err(machine)?);
    let background = tokio::spawn(bench.clone().keep_due());
    let served = axum::serve(listener, router(bench)).with_graceful_shutdown(stop).await;
    background.abort();
    served.map_err(machine)
}

fn is_here(ip: IpAddr) -> bool {
    ip.is_loopback()
}
