"""`python -m pipeline` is `reelproof`."""

from pipeline.cli import main

if __name__ == "__main__":
    main()
