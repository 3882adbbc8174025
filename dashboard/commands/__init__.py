"""One module per command: parse what argparse gave, call one pure function, print."""
