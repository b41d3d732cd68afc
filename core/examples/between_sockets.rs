//! A toolpath streamed through the rewriter between two sockets: as a program between a sender and a printer would do it. Memory
//! stays the same however long the toolpath is.
//!
//!     cargo run -p evengap --example between_sockets

#![allow(clippy::disallowed_types, clippy::disallowed_methods, reason = "a program: the core itself does no I/O")]

use evengap::follow::{Options, Rewriter, Summary};
use evengap::{Card, HeightMap, SurfaceKind};
use std::error::Error;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::thread;

const CARD: &str = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
     points = [[20, 20, 0.1], [180, 20, 0.2], [20, 180, 0.2], [180, 180, 0.1], [100, 100, 0.25]]\n";

/// From one stream to the other, in whatever pieces the bytes come. The fitted map is shared; each toolpath has its own rewriter.
fn relay(from: &mut impl Read, to: &mut impl Write, map: &HeightMap) -> Result<Summary, Box<dyn Error>> {
    let mut rewriter = Rewriter::new(map, Options::default())?;
    let (mut piece, mut ready) = ([0; 16 * 1024], Vec::new());
    loop {
        let n = from.read(&mut piece)?;
        if n == 0 {
            break;
        }
        // A refusal comes with its line and column. What was sent before it must not be printed: tell the receiver.
        rewriter.push(&piece[..n], &mut ready)?;
        to.write_all(&ready)?;
        ready.clear();
    }
    let summary = rewriter.finish(&mut ready)?;
    to.write_all(&ready)?;
    Ok(summary)
}

fn main() -> Result<(), Box<dyn Error>> {
    let map = HeightMap::fit(&Card::parse(CARD)?, SurfaceKind::ThinPlate)?;
    let [source, printer] = [TcpListener::bind("127.0.0.1:0")?, TcpListener::bind("127.0.0.1:0")?];
    let [source_at, printer_at] = [source.local_addr()?, printer.local_addr()?];

    // The sender: a line back and forth at Z 0.2.
    let sender = thread::spawn(move || -> std::io::Result<()> {
        let (mut stream, _) = source.accept()?;
        stream.write_all(b"G28\nM83\nG1 Z0.2 F600\n")?;
        for n in 0..50 {
            writeln!(stream, "G1 X{} Y{} E6.5 F1800", if n % 2 == 0 { 180 } else { 20 }, 20 + 3 * n)?;
        }
        stream.shutdown(Shutdown::Write)
    });
    // The printer: counts what it is sent.
    let receiver = thread::spawn(move || -> std::io::Result<usize> {
        let (mut stream, _) = printer.accept()?;
        let mut text = String::new();
        stream.read_to_string(&mut text)?;
        Ok(text.lines().count())
    });

    let (mut from, mut to) = (TcpStream::connect(source_at)?, TcpStream::connect(printer_at)?);
    let summary = relay(&mut from, &mut to, &map)?;
    drop(to);
    sender.join().map_err(|_| "the sender broke off")??;
    let lines = receiver.join().map_err(|_| "the printer broke off")??;
    println!("{} moves in, {} out; the printer got {lines} lines", summary.moves_in, summary.moves_out);
    assert!(summary.moves_out > summary.moves_in, "the bed is bent: long lines are split");
    Ok(())
}
