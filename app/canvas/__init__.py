"""The picture and everything drawn over it: view, outlines, marks, tools, loupe and scale bar."""
