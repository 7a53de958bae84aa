"""The figures that README and DEVELOPERS quote, each as a ratio within one run: `make bench`."""
