"""Makes the Vosk model from nothing: `python -m models.recipe --speech DIR --voices FILE --work DIR`. README.md has the why.

    speak     the speech of all voices, kept in WORK/speech; slow, ends after --minutes, may run in several processes
    train     the network, on sounds put together from it as they are needed, kept in WORK/learner.pt; takes in what is
              spoken meanwhile
    letters   letters over the built-in recogniser's encoder as it is, on the same sounds, for `tuned` to begin with
    tuned     small changes of the built-in recogniser's weights, and the letters that go with them; models/tuned, models/letters and
              their hashes
    model     the acoustic model, from what is kept, and sources.toml
    graph     the rest of the model's folder: words, graph, settings; its hashes in MANIFEST.toml. All that is to be done
              after a change of pronunciations.txt; needs OpenFst's tools and none of the training's packages
    judge     sounds of people and voices held out, as files with manifests for tests/choose_certainty.py and `ohmaloud score`, in
              WORK/held, WORK/held-people and WORK/held-voices

Every stage goes on where it was left. A part that a killed process had begun is done again when its .begun file is removed.
"""

import argparse
from pathlib import Path

from assistant.data import folder, texts
from assistant.language.lexicon import load_lexicon
from models.recipe import graph, pronounce, record

STAGES = ("speak", "train", "letters", "tuned", "model", "graph", "judge")
OTHER_SPEECH_COST = 0.0


def make_graph(options: argparse.Namespace) -> None:
    """Words and graph, and the hashes in MANIFEST.toml for a model beside it.

    Raises ValueError for a word of the grammar without pronunciation.
    """
    known = pronounce.known()
    lacking = [word for word in load_lexicon(texts("grammar")).vocabulary if word not in known]
    if lacking:
        raise ValueError(
            f"{pronounce.PRONUNCIATIONS.name} lacks {', '.join(lacking)}; add a line for each, as: ohm OW M"
        )
    graph.write(options.model, known, options.other_speech_cost)
    manifest = options.model.parent / "MANIFEST.toml"
    if manifest.exists():
        manifest.write_text(record.listed(manifest.read_text(encoding="utf-8"), options.model), encoding="utf-8")


def main() -> None:
    """Run the stages named, or all of them."""
    parser = argparse.ArgumentParser(description="Makes the Vosk model, the tuned weights and the letters.")
    parser.add_argument(
        "stages", nargs="*", metavar="STAGE", help=f"any of {', '.join(STAGES)}; all when none is named"
    )
    parser.add_argument("--speech", type=Path, help="folder with train.tsv and train/")
    parser.add_argument("--voices", type=Path, help="the archive that `npm pack kokoro-js@1.2.1` fetches")
    parser.add_argument("--work", type=Path, help="folder for what is made on the way")
    parser.add_argument("--model", type=Path, default=folder("models") / "numbers", help="folder of the finished model")
    parser.add_argument("--letters", type=Path, default=folder("models") / "letters", help="folder of the letters")
    parser.add_argument("--tuned", type=Path, default=folder("models") / "tuned", help="folder of the changes")
    parser.add_argument("--begin", type=Path, help="folder of a finished model to train on from; else from the donor")
    parser.add_argument("--engines", default="flite,foreign,espeak,kokoro", help="which speak")
    parser.add_argument("--minutes", type=float, default=40, help="time for speaking")
    parser.add_argument("--draw", type=int, default=0, help="another number, other sounds of those held out")
    parser.add_argument(
        "--held", type=int, default=600, help="how many sounds of people and voices held out, in each folder"
    )
    parser.add_argument("--steps", type=int, default=8000, help="steps of learning")
    parser.add_argument(
        "--train-minutes", type=float, default=600, help="time for learning, if it is over before the steps"
    )
    parser.add_argument("--rate", type=float, default=1, help="times the greatest learning rates")
    parser.add_argument("--seconds", type=float, default=400, help="seconds of sound in a step")
    parser.add_argument("--workers", type=int, default=2, help="processes that get steps ready")
    parser.add_argument("--other-speech-cost", type=float, default=OTHER_SPEECH_COST, help="cost of [unk]")
    options = parser.parse_args()
    named = options.stages or list(STAGES)
    unknown = sorted(set(named) - set(STAGES))
    if unknown:
        parser.error(f"no stage {', '.join(unknown)}; expected any of {', '.join(STAGES)}")
    if named != ["graph"] and options.work is None:
        parser.error("--work is needed")
    if "speak" in named and (options.speech is None or options.voices is None):
        parser.error("to speak, --speech and --voices are needed")
    try:
        for name in named:
            run(name, options)
    except (OSError, RuntimeError, ValueError) as error:
        parser.exit(2, f"{parser.prog}: {error}\n")


def run(name: str, options: argparse.Namespace) -> None:
    """One stage."""
    if name == "graph":
        make_graph(options)
        return
    from models.recipe import stages  # noqa: PLC0415  the graph needs none of the training's packages

    options.work.mkdir(parents=True, exist_ok=True)
    getattr(stages, name)(options)


if __name__ == "__main__":
    main()
