//! A toolpath streamed through the rewriter between two sockets: from a sender to a spooler, which keeps a job until it is whole. Memory
//! of what stands between them stays the same however long the toolpath is.
//!
//! **What was sent to a live printer cannot be taken back.** A refusal may come on any line, and that of a path below the floor comes
//! only when the toolpath has ended. So no line goes to a printer before the whole job has passed: whoever receives it keeps it until
//! its end is confirmed, and throws away what ends otherwise, be it by a refusal or by a cable that was pulled.
//!
//!     cargo run -p evengap --example between_sockets

#![allow(clippy::disallowed_types, clippy::disallowed_methods, reason = "a program: the core itself does no I/O")]

use evengap::follow::{Options, Rewriter, Summary};
use evengap::{Card, HeightMap, SurfaceKind};
use std::error::Error;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::thread;

const CARD: &str = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
     points = [[20, 20, 0.1], [180, 20, 0.2], [20, 180, 0.2], [180, 180, 0.1], [100, 100, 0.25]]\n";

/// A piece of nothing ends a job. A connection that is closed without it has lost something.
const END: [u8; 2] = [0; 2];

/// Bytes in pieces, each with its length before it.
fn send(to: &mut impl Write, bytes: &[u8]) -> Result<(), Box<dyn Error>> {
    for piece in bytes.chunks(usize::from(u16::MAX)) {
        to.write_all(&u16::try_from(piece.len())?.to_be_bytes())?;
        to.write_all(piece)?;
    }
    Ok(())
}

/// The next piece; an error where the other side hung up before the end.
fn receive(from: &mut impl Read) -> std::io::Result<Vec<u8>> {
    let mut length = END;
    from.read_exact(&mut length)?;
    let mut piece = vec![0; usize::from(u16::from_be_bytes(length))];
    from.read_exact(&mut piece)?;
    Ok(piece)
}

/// From one stream to the other. The fitted map is shared; each toolpath has its own rewriter. Whatever goes wrong, both are closed.
fn relay(mut from: TcpStream, mut to: TcpStream, map: &HeightMap) -> Result<Summary, Box<dyn Error>> {
    let mut rewriter = Rewriter::new(map, Options::default())?;
    let mut ready = Vec::new();
    loop {
        let piece = receive(&mut from)?;
        if piece.is_empty() {
            break;
        }
        rewriter.push(&piece, &mut ready)?;
        send(&mut to, &ready)?;
        ready.clear();
    }
    let summary = rewriter.finish(&mut ready)?;
    send(&mut to, &ready)?;
    to.write_all(&END)?;
    Ok(summary)
}

/// What a spooler keeps of a connection: the job when its end was confirmed; else nothing, and so many bytes are thrown away.
fn spool(from: &mut impl Read) -> Result<Vec<u8>, usize> {
    let mut job = Vec::new();
    loop {
        match receive(from) {
            Ok(piece) if piece.is_empty() => return Ok(job),
            Ok(piece) => job.extend(piece),
            Err(_) => return Err(job.len()),
        }
    }
}

/// What the relay says of a job, and what the spooler has of it.
type Outcome = (Result<Summary, Box<dyn Error>>, Result<Vec<u8>, usize>);

fn job(toolpath: &str, map: &HeightMap) -> Result<Outcome, Box<dyn Error>> {
    let [source, spooler] = [TcpListener::bind("127.0.0.1:0")?, TcpListener::bind("127.0.0.1:0")?];
    let [from, to] = [TcpStream::connect(source.local_addr()?)?, TcpStream::connect(spooler.local_addr()?)?];
    thread::scope(|scope| {
        // The sender does not mind a relay that hangs up: who refuses says so.
        scope.spawn(|| {
            let (mut stream, _) = source.accept().ok()?;
            toolpath.as_bytes().chunks(256).try_for_each(|piece| send(&mut stream, piece)).ok()?;
            stream.write_all(&END).ok()
        });
        let spooler = scope.spawn(|| spooler.accept().map_or(Err(0), |(mut stream, _)| spool(&mut stream)));
        let done = relay(from, to, map);
        Ok((done, spooler.join().map_err(|_| "the spooler broke off")?))
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let map = HeightMap::fit(&Card::parse(CARD)?, SurfaceKind::ThinPlate)?;

    // A line back and forth at Z 0.2.
    let mut good = "G28\nM83\nG1 Z0.2 F600\n".to_owned();
    for n in 0..50 {
        good += &format!("G1 X{} Y{} E6.5 F1800\n", if n % 2 == 0 { 180 } else { 20 }, 20 + 3 * n);
    }
    let (done, kept) = job(&good, &map)?;
    let (summary, kept) = (done?, kept.map_err(|_| "the job did not reach the spooler")?);
    println!("{} moves in, {} out; the spooler keeps {} bytes", summary.moves_in, summary.moves_out, kept.len());
    assert!(summary.moves_out > summary.moves_in, "the bed is bent: long lines are split");
    assert!(kept.ends_with(b"\n") && kept.len() > good.len());

    // The same, and then it probes: refused when most of it has been sent.
    let (done, kept) = job(&(good + "G38.2 Z-5\n"), &map)?;
    let refusal = *done.err().ok_or("probing is refused")?.downcast::<evengap::Error>()?;
    let thrown_away = kept.err().ok_or("a refused job must not be kept")?;
    let place = refusal.place().ok_or("a refusal has a place")?;
    println!("line {}, column {}: {refusal}; the spooler threw {thrown_away} bytes away", place.line, place.column);
    assert_eq!((place.line, place.column), (54, 1));
    assert!(thrown_away > 0);
    Ok(())
}
